package transport

import (
	"maps"
	"strings"
	"testing"

	"pgregory.net/rapid"
)

func TestParseEndpoint(t *testing.T) {
	for _, c := range []struct{ text, scheme, address string }{
		{"can:can0", "can", "can0"},
		{"serial:/dev/ttyUSB0?baud=9600&frame=8N1", "serial", "/dev/ttyUSB0"},
		{"modbus-tcp:192.0.2.7:502", "modbus-tcp", "192.0.2.7:502"},
		{"bench.pcapng", "capture", "bench.pcapng"},
		{"./odd:name.log", "capture", "./odd:name.log"},
		{`C:\captures\bench.pcapng`, "capture", `C:\captures\bench.pcapng`},
		{"stdout:", "stdout", ""},
		{"http:[::1]:8080", "http", "[::1]:8080"},
	} {
		e, err := ParseEndpoint(c.text)
		if err != nil || e.Scheme != c.scheme || e.Address != c.address {
			t.Errorf("%q: got %+v, %v; want scheme %q, address %q", c.text, e, err, c.scheme, c.address)
		}
	}
}

func TestParseEndpointRefuses(t *testing.T) {
	for text, says := range map[string]string{
		"":                            "empty",
		"serial:/dev/x?baud=1&baud=2": `option "baud" must be given once`,
		"serial:/dev/x?baud=%zz":      "cannot be read",
		"serial:/dev/x?=9600":         "must be given once",
	} {
		if _, err := ParseEndpoint(text); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: got %v, want an error that says %q", text, err, says)
		}
	}
}

func TestAllowNamesTheUnknownOption(t *testing.T) {
	e, _ := ParseEndpoint("serial:/dev/x?baud=9600&parity=even")
	if err := e.Allow("baud", "frame"); err == nil || !strings.Contains(err.Error(), `"parity"`) || !strings.Contains(err.Error(), "baud, frame") {
		t.Errorf("got %v", err)
	}
	if err := e.Allow("baud", "parity"); err != nil {
		t.Errorf("got %v, want none", err)
	}
	e, _ = ParseEndpoint("serial:/dev/x?d=1&c=1&b=1&a=1")
	for range 20 {
		if err := e.Allow("a"); err == nil || !strings.Contains(err.Error(), `"b"`) {
			t.Errorf("of three unknown options, got %v, want always the first by name", err)
		}
	}
}

func TestListenAddressStaysOnLoopback(t *testing.T) {
	for address, want := range map[string]string{":8080": "127.0.0.1:8080", "0.0.0.0:502": "0.0.0.0:502", "[::1]:1": "[::1]:1"} {
		if got, err := (Endpoint{Scheme: "http", Address: address}).ListenAddress(); err != nil || got != want {
			t.Errorf("%q: got %q, %v; want %q", address, got, err, want)
		}
	}
	for _, address := range []string{"8080", ":99999", ":http", ":-1"} {
		if _, err := (Endpoint{Scheme: "http", Address: address}).ListenAddress(); err == nil {
			t.Errorf("%q was taken", address)
		}
	}
}

func TestEndpointRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		want := Endpoint{
			Scheme:  rapid.StringMatching(`[a-z]{2,8}(-[a-z]{2,3})?`).Draw(t, "scheme"),
			Address: rapid.StringMatching(`[a-zA-Z0-9/.:\[\]_-]{0,20}`).Draw(t, "address"),
			Options: rapid.MapOfN(rapid.StringMatching(`[a-z_]{1,8}`), rapid.String(), 1, 3).Draw(t, "options"),
		}
		got, err := ParseEndpoint(want.String())
		if err != nil || got.Scheme != want.Scheme || got.Address != want.Address || !maps.Equal(got.Options, want.Options) || got.String() != want.String() {
			t.Fatalf("%q became %q, %v", want, got, err)
		}
	})
}

// TestWithUsual adds what an endpoint does not say, and shows what its user wrote.
func TestWithUsual(t *testing.T) {
	for text, want := range map[string]string{
		"serial:/dev/ttyUSB0":                     "serial:/dev/ttyUSB0?baud=9600&frame=8N1",
		"serial:/dev/ttyUSB0?baud=1200":           "serial:/dev/ttyUSB0?baud=1200&frame=8N1",
		"serial:/dev/ttyUSB0?frame=7E1&baud=1200": "serial:/dev/ttyUSB0?baud=1200&frame=7E1",
	} {
		e, err := ParseEndpoint(text)
		if err != nil {
			t.Fatal(err)
		}
		unchanged := maps.Clone(e.Options)
		with := e.WithUsual(map[string]string{"baud": "9600", "frame": "8N1"})
		if with.String() != text || with.Full() != want || !maps.Equal(e.Options, unchanged) {
			t.Errorf("%s: got %s, in full %s, want %s", text, with, with.Full(), want)
		}
		if none := e.WithUsual(nil); none.String() != text || !maps.Equal(none.Options, e.Options) {
			t.Errorf("%s without usual options is %s", text, none.Full())
		}
	}
	made := Endpoint{Scheme: "serial", Address: "port"}.WithUsual(map[string]string{"baud": "9600"})
	if made.String() != "serial:port" {
		t.Errorf("an endpoint that was not parsed is shown as %s", made)
	}
}
