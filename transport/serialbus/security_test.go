//go:build linux

package serialbus

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"errors"
	"io"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"time"
)

// identity is a certificate with its key.
type identity struct {
	certificate *x509.Certificate
	key         *ecdsa.PrivateKey
}

// issue makes a certificate; one without an issuer is an authority of its own.
func issue(t *testing.T, issuer *identity) *identity {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	template := &x509.Certificate{
		SerialNumber: big.NewInt(time.Now().UnixNano()), Subject: pkix.Name{CommonName: "test"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{{127, 0, 0, 1}},
		IsCA: issuer == nil, BasicConstraintsValid: true,
		ExtKeyUsage: []x509.ExtKeyUsage{x509.ExtKeyUsageClientAuth, x509.ExtKeyUsageServerAuth},
	}
	if issuer == nil {
		issuer = &identity{template, key}
	}
	text, err := x509.CreateCertificate(rand.Reader, template, issuer.certificate, &key.PublicKey, issuer.key)
	if err != nil {
		t.Fatal(err)
	}
	certificate, err := x509.ParseCertificate(text)
	if err != nil {
		t.Fatal(err)
	}
	return &identity{certificate, key}
}

// write stores the identity as NAME.pem and NAME.key.
func (id *identity) write(t *testing.T, folder, name string) (certificate, key string) {
	t.Helper()
	secret, err := x509.MarshalECPrivateKey(id.key)
	if err != nil {
		t.Fatal(err)
	}
	certificate, key = filepath.Join(folder, name+".pem"), filepath.Join(folder, name+".key")
	for path, block := range map[string]*pem.Block{
		certificate: {Type: "CERTIFICATE", Bytes: id.certificate.Raw}, key: {Type: "EC PRIVATE KEY", Bytes: secret},
	} {
		if err := os.WriteFile(path, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return certificate, key
}

// encrypt serves TLS in front of a plain address, for clients that the authority knows.
func encrypt(t *testing.T, plain string, authority, server *identity) (address string) {
	t.Helper()
	pool := x509.NewCertPool()
	pool.AddCert(authority.certificate)
	listener, err := tls.Listen("tcp", "127.0.0.1:0", &tls.Config{
		Certificates: []tls.Certificate{{Certificate: [][]byte{server.certificate.Raw}, PrivateKey: server.key}},
		ClientCAs:    pool, ClientAuth: tls.RequireAndVerifyClientCert,
	})
	if err != nil {
		t.Fatal(err)
	}
	var running sync.WaitGroup
	running.Go(func() {
		for {
			conn, err := listener.Accept()
			if err != nil {
				return
			}
			running.Go(func() { relay(conn, plain) })
		}
	})
	t.Cleanup(func() { listener.Close(); running.Wait() })
	return listener.Addr().String()
}

// relay passes bytes on until one side closes.
func relay(conn net.Conn, plain string) {
	defer conn.Close()
	if conn.(*tls.Conn).Handshake() != nil {
		return
	}
	inner, err := net.Dial("tcp", plain)
	if err != nil {
		return
	}
	done := make(chan struct{})
	go func() { io.Copy(conn, inner); conn.Close(); close(done) }()
	io.Copy(inner, conn)
	inner.Close()
	<-done
}

// TestPeerBehindEncryption polls the libmodbus server behind TLS with certificates on
// both sides (MODBUS/TCP Security; from memory).
func TestPeerBehindEncryption(t *testing.T) {
	plain := tcpPeer(t, 17)
	folder, authority := t.TempDir(), issue(t, nil)
	ca, _ := authority.write(t, folder, "authority")
	cert, key := issue(t, authority).write(t, folder, "own")
	address := encrypt(t, plain, authority, issue(t, authority))
	f, p := poll(t, "modbus-tls:"+address+"?ca="+ca+"&cert="+cert+"&key="+key, peerPlan())
	checkPeer(t, f, p)
}

func TestCertificatesAreRefused(t *testing.T) {
	plain, _, _ := deviceServer(t)
	folder, authority, other := t.TempDir(), issue(t, nil), issue(t, nil)
	ca, caKey := authority.write(t, folder, "authority")
	otherCA, otherKey := other.write(t, folder, "other")
	cert, key := issue(t, authority).write(t, folder, "own")
	address := encrypt(t, plain, authority, issue(t, authority))
	empty := filepath.Join(folder, "empty")
	if err := os.WriteFile(empty, []byte("no certificate"), 0o600); err != nil {
		t.Fatal(err)
	}
	for name, options := range map[string]string{
		"a server of an unknown authority": "?ca=" + otherCA + "&cert=" + cert + "&key=" + key,
		"the system's authorities":         "",
		"no such file":                     "?ca=" + folder + "/none",
		"no certificate in the file":       "?ca=" + empty,
		"a key that does not fit":          "?ca=" + ca + "&cert=" + cert + "&key=" + otherKey,
		"a certificate in place of a key":  "?ca=" + ca + "&cert=" + cert + "&key=" + ca,
		"a key in place of authorities":    "?ca=" + caKey,
	} {
		_, err := TransmitPolls(background(t), endpoint(t, "modbus-tls:"+address+options), onePlan(), nil)
		var fault *Error
		if !errors.As(err, &fault) || fault.Kind != KindCertificate {
			t.Errorf("%s: got %v, want an error of kind certificate", name, err)
		}
	}
}
