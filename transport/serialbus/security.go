package serialbus

import (
	"crypto/tls"
	"crypto/x509"
	"net"
	"os"

	"packlink/transport"
)

// security reads the settings of an encrypted connection: the option ca is a
// file of the authorities to trust, those of the system without it; cert and key
// are this program's own certificate, in PEM. TLS is version 1.2 or newer (MODBUS/TCP
// Security; from memory).
func security(e transport.Endpoint) (*tls.Config, error) {
	host, _, err := net.SplitHostPort(e.Address)
	if err != nil {
		return nil, endpointError(e, "the address must be host:port")
	}
	settings := &tls.Config{MinVersion: tls.VersionTLS12, ServerName: host}
	if path, given := e.Options["ca"]; given {
		if settings.RootCAs, err = authorities(path); err != nil {
			return nil, certificateFault(e, "the authorities of option ca cannot be read", path, err)
		}
		if settings.RootCAs == nil {
			return nil, certificateFault(e, "there is no certificate in the file of option ca", path, nil)
		}
	}
	cert, hasCert := e.Options["cert"]
	key, hasKey := e.Options["key"]
	if hasCert != hasKey {
		return nil, endpointError(e, "options cert and key belong together, and one is missing")
	}
	if !hasCert {
		return settings, nil
	}
	own, err := tls.LoadX509KeyPair(cert, key)
	if err != nil {
		return nil, certificateFault(e, "the certificate and key of options cert and key cannot be used", cert, err)
	}
	settings.Certificates = []tls.Certificate{own}
	return settings, nil
}

// authorities reads the certificates of a file; it is nil if there are none.
func authorities(path string) (*x509.CertPool, error) {
	text, err := os.ReadFile(path)
	if err != nil {
		return nil, err
	}
	pool := x509.NewCertPool()
	if !pool.AppendCertsFromPEM(text) {
		return nil, nil
	}
	return pool, nil
}

func certificateFault(e transport.Endpoint, detail, path string, err error) error {
	return &Error{Endpoint: e.String(), Kind: KindCertificate, Detail: detail, Try: "openssl x509 -noout -text -in " + path, Cause: err}
}
