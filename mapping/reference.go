package mapping

import (
	"fmt"
	"maps"
	"net/url"
	"slices"
	"strings"
)

// Reference names a mapping with options, as [ParseReference] reads it.
func Reference(name string, options map[string]string) string {
	values := make(url.Values, len(options))
	for option, choice := range options {
		values.Set(option, choice)
	}
	return name + "?" + values.Encode()
}

// ParseReference splits what a user names a mapping by, such as
// "sunspec-battery?current=discharge-positive", into the name or path and the
// options.
func ParseReference(text string) (name string, options map[string]string, err error) {
	name, query, has := strings.Cut(text, "?")
	if name == "" {
		return "", nil, fmt.Errorf("the mapping has no name: write a built-in name or the path of a file")
	}
	if !has {
		return name, nil, nil
	}
	values, err := url.ParseQuery(query)
	if err != nil {
		return "", nil, fmt.Errorf("mapping %q: the options after ? cannot be read: %w", text, err)
	}
	options = make(map[string]string, len(values))
	for _, option := range slices.Sorted(maps.Keys(values)) {
		all := values[option]
		if len(all) != 1 {
			return "", nil, fmt.Errorf("mapping %q: option %q is given %d times", text, option, len(all))
		}
		options[option] = all[0]
	}
	return name, options, nil
}
