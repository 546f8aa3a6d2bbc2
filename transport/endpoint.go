package transport

import (
	"fmt"
	"maps"
	"net"
	"net/url"
	"slices"
	"strconv"
	"strings"
)

// Endpoint is a place frames come from or status goes to, as the user wrote
// it: scheme:address?option=value&...
type Endpoint struct {
	Scheme  string            // "can", "serial", "capture", "http", ...
	Address string            // what follows the scheme, without the options
	Options map[string]string // the options, by name; nil if there are none
	text    string            // as the user wrote it; "" if it was not parsed
}

// ParseEndpoint reads an endpoint. A text without a scheme is the path of a
// capture: "bench.pcapng" means "capture:bench.pcapng".
func ParseEndpoint(text string) (Endpoint, error) {
	if text == "" {
		return Endpoint{}, fmt.Errorf("the endpoint is empty: write scheme:address, as in can:can0 or capture:bench.pcapng")
	}
	scheme, rest := splitScheme(text)
	address, query, hasOptions := strings.Cut(rest, "?")
	e := Endpoint{Scheme: scheme, Address: address, text: text}
	if !hasOptions {
		return e, nil
	}
	values, err := url.ParseQuery(query)
	if err != nil {
		return Endpoint{}, fmt.Errorf("endpoint %q: the options after ? cannot be read: %w", text, err)
	}
	e.Options = make(map[string]string, len(values))
	for name, all := range values {
		if len(all) != 1 || name == "" {
			return Endpoint{}, fmt.Errorf("endpoint %q: option %q must be given once, as name=value", text, name)
		}
		e.Options[name] = all[0]
	}
	return e, nil
}

// splitScheme cuts "can:can0" in two. A word of one letter before the colon
// is a drive of a Windows path, and a word with a slash is a path.
func splitScheme(text string) (scheme, rest string) {
	word, after, found := strings.Cut(text, ":")
	if !found || len(word) < 2 || strings.ContainsAny(word, `/\.?`) {
		return "capture", text
	}
	return word, after
}

// WithUsual is the endpoint with the options that it does not say itself. It is still
// shown as the user wrote it.
func (e Endpoint) WithUsual(options map[string]string) Endpoint {
	if len(options) == 0 {
		return e
	}
	all := maps.Clone(options)
	maps.Copy(all, e.Options)
	e.text, e.Options = e.String(), all
	return e
}

// String is the endpoint as the user wrote it, or would write it.
func (e Endpoint) String() string {
	if e.text != "" {
		return e.text
	}
	return e.Full()
}

// Full is the endpoint with all of its options, in the order of their names.
func (e Endpoint) Full() string {
	text := e.Scheme + ":" + e.Address
	between := "?"
	for _, name := range e.names() {
		text += between + url.QueryEscape(name) + "=" + url.QueryEscape(e.Options[name])
		between = "&"
	}
	return text
}

// names are those of the options, in order.
func (e Endpoint) names() []string { return slices.Sorted(maps.Keys(e.Options)) }

// Allow returns an error for the first option, by name, that is none of the names.
func (e Endpoint) Allow(names ...string) error {
	for _, name := range e.names() {
		if slices.Contains(names, name) {
			continue
		}
		if len(names) == 0 {
			return fmt.Errorf("endpoint %q: %s: takes no options, and %q is given", e, e.Scheme, name)
		}
		return fmt.Errorf("endpoint %q: there is no option %q; %s: takes %s", e, name, e.Scheme, strings.Join(names, ", "))
	}
	return nil
}

// ListenAddress is the address to listen on. One that names no host listens
// on the loopback interface only: ":502" becomes "127.0.0.1:502".
func (e Endpoint) ListenAddress() (string, error) {
	host, port, err := net.SplitHostPort(e.Address)
	if err != nil {
		return "", fmt.Errorf("endpoint %q: the address must be host:port, as in 127.0.0.1:8080: %w", e, err)
	}
	if _, err := strconv.ParseUint(port, 10, 16); err != nil {
		return "", fmt.Errorf("endpoint %q: the port must be a number from 0 to 65535, and is %q", e, port)
	}
	if host == "" {
		host = "127.0.0.1"
	}
	return net.JoinHostPort(host, port), nil
}
