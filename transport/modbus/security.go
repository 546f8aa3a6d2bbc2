package modbus

import (
	"crypto/tls"
	"crypto/x509"
	"encoding/asn1"
	"fmt"
	"os"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"packlink/transport"
)

// DefaultRole is the role that may read if the endpoint names none: the one in the
// client certificates of the SunSpec Alliance's reference library (pysunspec2,
// tests/tls_data/client.cnf).
const DefaultRole = "ReadOnlySunSpec"

// HandshakeTimeout is how long a client may take to become encrypted.
const HandshakeTimeout = 10 * time.Second

// roleExtension is the extension of a client's certificate that holds its role, as
// an ASN.1 UTF8String, at most once (MODBUS/TCP Security v36, R-21 and R-22).
var roleExtension = asn1.ObjectIdentifier{1, 3, 6, 1, 4, 1, 50316, 802, 1}

// Security is whom a server of MODBUS/TCP Security serves. Both sides show a
// certificate, by TLS 1.2 or newer (from memory). A client whose certificate does not
// hold, or that has none, gets no connection. One without a role that may read gets
// its connection, and exception 01 to whatever it asks (from memory).
type Security struct {
	settings *tls.Config
	roles    []string // that may read
}

// ReadSecurity reads the options of an endpoint: cert and key are files of the
// server's own certificate, ca is a file of the authorities whose clients are served,
// all in PEM; roles are the roles that may read, with commas between them, and
// [DefaultRole] if it is not given.
func ReadSecurity(e transport.Endpoint) (*Security, error) {
	for _, name := range []string{"cert", "key", "ca"} {
		if e.Options[name] == "" {
			return nil, fmt.Errorf("%s: it needs option %q: cert and key are the server's own certificate, ca the authorities of its clients", e, name)
		}
	}
	own, err := tls.LoadX509KeyPair(e.Options["cert"], e.Options["key"])
	if err != nil {
		return nil, fmt.Errorf("%s: the certificate and key of options cert and key cannot be used: %w", e, err)
	}
	text, err := os.ReadFile(e.Options["ca"])
	if err != nil {
		return nil, fmt.Errorf("%s: the authorities of option ca cannot be read: %w", e, err)
	}
	authorities := x509.NewCertPool()
	if !authorities.AppendCertsFromPEM(text) {
		return nil, fmt.Errorf("%s: there is no certificate in the file of option ca, %s", e, e.Options["ca"])
	}
	roles := []string{DefaultRole}
	if given, is := e.Options["roles"]; is {
		roles = strings.Split(given, ",")
	}
	if slices.Contains(roles, "") {
		return nil, fmt.Errorf("%s: option roles names an empty role; write roles=NAME,NAME", e)
	}
	return &Security{roles: roles, settings: &tls.Config{
		MinVersion: tls.VersionTLS12, Certificates: []tls.Certificate{own},
		ClientAuth: tls.RequireAndVerifyClientCert, ClientCAs: authorities,
	}}, nil
}

// admit encrypts the connection of a client, in the client's own time, and takes
// its reader away if it has no role that may read.
func (s *Security) admit(c *client) DropReason {
	encrypted := tls.Server(c.wire, s.settings)
	c.wire.SetDeadline(time.Now().Add(HandshakeTimeout))
	if encrypted.Handshake() != nil {
		return Untrusted
	}
	c.wire.SetDeadline(time.Time{})
	c.conn = encrypted
	if !slices.Contains(s.roles, roleOf(encrypted.ConnectionState().PeerCertificates[0])) {
		c.reader = nil
	}
	return notDropped
}

// roleOf is the role in a client's certificate, "" if it has none. The certificate
// has no extension twice, or it would not have been read.
func roleOf(certificate *x509.Certificate) string {
	for _, extension := range certificate.Extensions {
		if !extension.Id.Equal(roleExtension) {
			continue
		}
		var value asn1.RawValue
		rest, err := asn1.Unmarshal(extension.Value, &value)
		if err != nil || len(rest) > 0 || value.Class != asn1.ClassUniversal || value.Tag != asn1.TagUTF8String || !utf8.Valid(value.Bytes) {
			return ""
		}
		return string(value.Bytes)
	}
	return ""
}
