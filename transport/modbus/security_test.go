package modbus

import (
	"bytes"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/asn1"
	"encoding/pem"
	"io"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"packlink/transport"
)

// holder is somebody with a certificate.
type holder struct {
	certificate *x509.Certificate
	key         *ecdsa.PrivateKey
}

// issue makes a certificate as change has it; one without an issuer is an authority.
func issue(t testing.TB, issuer *holder, change func(*x509.Certificate)) *holder {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(time.Now().UnixNano()), Subject: pkix.Name{CommonName: "bench"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{{127, 0, 0, 1}},
		IsCA: issuer == nil, BasicConstraintsValid: true,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth, x509.ExtKeyUsageServerAuth},
	}
	if change != nil {
		change(template)
	}
	if issuer == nil {
		issuer = &holder{template, key}
	}
	text, err := x509.CreateCertificate(rand.Reader, template, issuer.certificate, &key.PublicKey, issuer.key)
	if err != nil {
		t.Fatal(err)
	}
	certificate, _ := x509.ParseCertificate(text) // one with a double extension cannot be parsed
	if certificate == nil {
		certificate = &x509.Certificate{Raw: text}
	}
	return &holder{certificate, key}
}

// role puts a role into a certificate: a value of the extension, in DER.
func role(values ...[]byte) func(*x509.Certificate) {
	return func(c *x509.Certificate) {
		for _, value := range values {
			c.ExtraExtensions = append(c.ExtraExtensions, pkix.Extension{Id: roleExtension, Value: value})
		}
	}
}

func utf8String(text string) []byte {
	return append([]byte{asn1.TagUTF8String, byte(len(text))}, text...)
}

func (h *holder) pair() tls.Certificate {
	return tls.Certificate{Certificate: [][]byte{h.certificate.Raw}, PrivateKey: h.key}
}

// write stores the certificate as NAME.pem and its key as NAME.key.
func (h *holder) write(t testing.TB, folder, name string) (certificate, key string) {
	t.Helper()
	secret, err := x509.MarshalECPrivateKey(h.key)
	if err != nil {
		t.Fatal(err)
	}
	certificate, key = filepath.Join(folder, name+".pem"), filepath.Join(folder, name+".key")
	for path, block := range map[string]*pem.Block{
		certificate: {Type: "CERTIFICATE", Bytes: h.certificate.Raw}, key: {Type: "EC PRIVATE KEY", Bytes: secret},
	} {
		if err := os.WriteFile(path, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return certificate, key
}

// secured is a server of MODBUS/TCP Security during a test.
type secured struct {
	*serving
	authority *holder
}

func serveSecured(t testing.TB, roles string) secured {
	t.Helper()
	folder, authority := t.TempDir(), issue(t, nil, nil)
	ca, _ := authority.write(t, folder, "authority")
	cert, key := issue(t, authority, nil).write(t, folder, "server")
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
func (s secured) talk(t testing.TB, as *holder, change func(*tls.Config)) *tls.Conn {
	t.Helper()
	pool := x509.NewCertPool()
	pool.AddCert(s.authority.certificate)
	settings := &tls.Config{RootCAs: pool, ServerName: "127.0.0.1"}
	if as != nil { // whatever authorities the server names
		pair := as.pair()
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
func (s secured) reader(t testing.TB) *holder {
	return issue(t, s.authority, role(utf8String(DefaultRole)))
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
		conn := c.server.talk(t, issue(t, c.server.authority, c.role), nil)
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
	stranger := issue(t, nil, nil)
	expired := func(c *x509.Certificate) {
		role(utf8String(DefaultRole))(c)
		c.NotBefore, c.NotAfter = time.Now().Add(-2*time.Hour), time.Now().Add(-time.Hour)
	}
	forServers := func(c *x509.Certificate) { c.ExtKeyUsage = []x509.ExtKeyUsage{x509.ExtKeyUsageServerAuth} }
	dropped := uint64(0)
	for name, c := range map[string]struct {
		as     *holder
		change func(*tls.Config)
	}{
		"no certificate":       {nil, nil},
		"of another authority": {issue(t, stranger, role(utf8String(DefaultRole))), nil},
		"signed by itself":     {issue(t, nil, role(utf8String(DefaultRole))), nil},
		"expired":              {issue(t, s.authority, expired), nil},
		"for servers only":     {issue(t, s.authority, forServers), nil},
		"two roles":            {issue(t, s.authority, role(utf8String(DefaultRole), utf8String("x"))), nil},
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
	folder, authority := t.TempDir(), issue(t, nil, nil)
	ca, _ := authority.write(t, folder, "authority")
	cert, key := issue(t, authority, nil).write(t, folder, "own")
	_, otherKey := issue(t, authority, nil).write(t, folder, "other")
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
