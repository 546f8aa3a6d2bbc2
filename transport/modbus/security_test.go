package modbus

import (
	"bytes"
	"crypto/tls"
	"crypto/x509"
	"encoding/asn1"
	"io"
	"net"
	"strings"
	"testing"
	"time"

	"packlink/fixtures/certificates"
	"packlink/transport"
)

// role puts a role into a certificate: a value of the extension, in DER.
func role(values ...[]byte) func(*x509.Certificate) {
	return certificates.Extended(roleExtension, values...)
}

func utf8String(text string) []byte {
	return append([]byte{asn1.TagUTF8String, byte(len(text))}, text...)
}

// secured is a server of MODBUS/TCP Security during a test.
type secured struct {
	*serving
	authority *certificates.Holder
}

func serveSecured(t testing.TB, roles string) secured {
	t.Helper()
	folder, authority := t.TempDir(), certificates.Issue(t, nil, nil)
	ca, _ := authority.Write(t, folder, "authority")
	cert, key := certificates.Issue(t, authority, nil).Write(t, folder, "server")
	e, err := transport.ParseEndpoint("modbus-tls:127.0.0.1:0?cert=" + cert + "&key=" + key + "&ca=" + ca + roles)
	if err != nil {
		t.Fatal(err)
	}
	security, err := ReadSecurity(e)
	if err != nil {
		t.Fatal(err)
	}
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	s := secured{serveSecure(t, fixtureUnits(t), listener, security), authority}
	t.Cleanup(func() { s.stop(t) })
	return s
}

// talk connects as a client with a certificate; nil has none.
func (s secured) talk(t testing.TB, as *certificates.Holder, change func(*tls.Config)) *tls.Conn {
	t.Helper()
	settings := &tls.Config{RootCAs: s.authority.Pool(), ServerName: "127.0.0.1"}
	if as != nil { // whatever authorities the server names
		pair := as.Pair()
		settings.GetClientCertificate = func(*tls.CertificateRequestInfo) (*tls.Certificate, error) { return &pair, nil }
	}
	if change != nil {
		change(settings)
	}
	conn := tls.Client(s.dial(t), settings)
	t.Cleanup(func() { conn.Close() })
	return conn
}

// reader is a client that may read.
func (s secured) reader(t testing.TB) *certificates.Holder {
	return certificates.Issue(t, s.authority, role(utf8String(DefaultRole)))
}

func TestSecureClientReads(t *testing.T) {
	s := serveSecured(t, "")
	for _, version := range []uint16{tls.VersionTLS12, tls.VersionTLS13} {
		conn := s.talk(t, s.reader(t), func(c *tls.Config) { c.MinVersion, c.MaxVersion = version, version })
		for range 3 {
			if got, err := exchange(conn, probe); err != nil || !bytes.Equal(got, probeResponse) {
				t.Errorf("TLS %04X: got % X, %v", version, got, err)
			}
		}
	}
}

// TestRoles: a client without a role that may read is refused by exception 01,
// whatever it asks.
func TestRoles(t *testing.T) {
	s, several := serveSecured(t, ""), serveSecured(t, "&roles=Watch,Operate")
	for name, c := range map[string]struct {
		server secured
		role   func(*x509.Certificate)
		reads  bool
	}{
		"the default role":   {s, role(utf8String("ReadOnlySunSpec")), true},
		"one of several":     {several, role(utf8String("Operate")), true},
		"another one":        {several, role(utf8String("Watch")), true},
		"no role":            {s, nil, false},
		"an unknown role":    {s, role(utf8String("Operate")), false},
		"not the default":    {several, role(utf8String("ReadOnlySunSpec")), false},
		"another case":       {s, role(utf8String("readonlysunspec")), false},
		"an empty role":      {s, role(utf8String("")), false},
		"a printable string": {s, role(append([]byte{asn1.TagPrintableString, 15}, "ReadOnlySunSpec"...)), false},
		"two in one":         {s, role(append(utf8String("ReadOnlySunSpec"), utf8String("x")...)), false},
		"no DER":             {s, role([]byte("ReadOnlySunSpec")), false},
		"not UTF-8":          {s, role(utf8String("\xFF")), false},
	} {
		conn := c.server.talk(t, certificates.Issue(t, c.server.authority, c.role), nil)
		for _, request := range []string{string(probe[7:]), "\x06\x00\x01\x00\x03", "\x2B\x0E\x01\x00", "\x03", "\xFF\x01"} {
			got, err := exchange(conn, append([]byte{0xAB, 0xCD, 0, 0, 0, byte(1 + len(request)), 1}, request...))
			if err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			refused := bytes.Equal(got[7:], []byte{request[0] | 0x80, 1})
			if !c.reads && !refused || c.reads && request[0] == 3 && len(request) == 5 && !bytes.Equal(got, probeResponse) {
				t.Errorf("%s: % X got % X", name, request, got)
			}
		}
	}
}

// TestUntrustedClients get no connection.
func TestUntrustedClients(t *testing.T) {
	s := serveSecured(t, "")
	stranger := certificates.Issue(t, nil, nil)
	expired := func(c *x509.Certificate) {
		role(utf8String(DefaultRole))(c)
		certificates.Expired(c)
	}
	forServers := func(c *x509.Certificate) { c.ExtKeyUsage = []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth} }
	dropped := uint64(0)
	for name, c := range map[string]struct {
		as     *certificates.Holder
		change func(*tls.Config)
	}{
		"no certificate":       {nil, nil},
		"of another authority": {certificates.Issue(t, stranger, role(utf8String(DefaultRole))), nil},
		"signed by itself":     {certificates.Issue(t, nil, role(utf8String(DefaultRole))), nil},
		"expired":              {certificates.Issue(t, s.authority, expired), nil},
		"for servers only":     {certificates.Issue(t, s.authority, forServers), nil},
		"two roles":            {certificates.Issue(t, s.authority, role(utf8String(DefaultRole), utf8String("x"))), nil},
		"TLS 1.1":              {s.reader(t), func(c *tls.Config) { c.MinVersion, c.MaxVersion = tls.VersionTLS10, tls.VersionTLS11 }},
	} {
		if got, err := exchange(s.talk(t, c.as, c.change), probe); err == nil {
			t.Errorf("%s: got % X", name, got)
		}
		dropped++
	}
	plain := s.dial(t)
	send(t, plain, probe)
	if answer, _ := io.ReadAll(plain); bytes.Contains(answer, probeResponse) {
		t.Errorf("without encryption: got % X", answer)
	}
	waitUntil(t, func() bool { return s.Counters().Dropped[Untrusted] == dropped+1 })
}

func waitUntil(t *testing.T, holds func() bool) {
	t.Helper()
	for end := time.Now().Add(patience); !holds(); time.Sleep(time.Millisecond) {
		if time.Now().After(end) {
			t.Fatal("it never came true")
		}
	}
}

// TestSecureClientsDelayNobody: one client never ends its handshake, one sends half
// a request; the third is served, and the server ends at once.
func TestSecureClientsDelayNobody(t *testing.T) {
	s := serveSecured(t, "")
	silent, half, third := s.dial(t), s.talk(t, s.reader(t), nil), s.talk(t, s.reader(t), nil)
	send(t, silent, []byte{0x16, 3, 1, 2, 0}) // the head of a handshake record
	send(t, half, probe[:5])
	for range 50 {
		if got, err := exchange(third, probe); err != nil || !bytes.Equal(got, probeResponse) {
			t.Fatalf("got % X, %v", got, err)
		}
	}
	send(t, half, probe[5:])
	expectBytes(t, half, probeResponse)
	if open := s.Counters().Open; open != 3 {
		t.Errorf("%d connections are open, want 3", open)
	}
}

func TestReadSecurityRefuses(t *testing.T) {
	folder, authority := t.TempDir(), certificates.Issue(t, nil, nil)
	ca, _ := authority.Write(t, folder, "authority")
	cert, key := certificates.Issue(t, authority, nil).Write(t, folder, "own")
	_, otherKey := certificates.Issue(t, authority, nil).Write(t, folder, "other")
	for options, says := range map[string]string{
		"":                                   `needs option "cert"`,
		"cert=" + cert + "&key=" + key:       `needs option "ca"`,
		"cert=" + cert + "&ca=" + ca:         `needs option "key"`,
		"cert=none&key=" + key + "&ca=" + ca: "cert and key cannot be used",
		"cert=" + cert + "&key=" + otherKey + "&ca=" + ca:          "cert and key cannot be used",
		"cert=" + cert + "&key=" + key + "&ca=none":                "option ca cannot be read",
		"cert=" + cert + "&key=" + key + "&ca=" + key:              "no certificate in the file of option ca",
		"cert=" + cert + "&key=" + key + "&ca=" + ca + "&roles=":   "empty role",
		"cert=" + cert + "&key=" + key + "&ca=" + ca + "&roles=a,": "empty role",
	} {
		e, err := transport.ParseEndpoint("modbus-tls:127.0.0.1:802?" + options)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := ReadSecurity(e); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: got %v, want %q", options, err, says)
		}
	}
}
