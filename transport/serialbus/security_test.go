//go:build linux

package serialbus

import (
	"crypto/tls"
	"errors"
	"io"
	"net"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"packlink/fixtures/certificates"
)

// encrypt serves TLS in front of a plain address, for clients that the authority knows.
func encrypt(t *testing.T, plain string, authority, server *certificates.Holder) (address string) {
	t.Helper()
	listener, err := tls.Listen("tcp", "127.0.0.1:0", &tls.Config{
		Certificates: []tls.Certificate{server.Pair()},
		ClientCAs:    authority.Pool(), ClientAuth: tls.RequireAndVerifyClientCert,
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
	folder, authority := t.TempDir(), certificates.Issue(t, nil, nil)
	ca, _ := authority.Write(t, folder, "authority")
	cert, key := certificates.Issue(t, authority, nil).Write(t, folder, "own")
	address := encrypt(t, plain, authority, certificates.Issue(t, authority, nil))
	f, p := poll(t, "modbus-tls:"+address+"?ca="+ca+"&cert="+cert+"&key="+key, peerPlan())
	checkPeer(t, f, p)
}

func TestCertificatesAreRefused(t *testing.T) {
	plain, _, _ := deviceServer(t)
	folder, authority, other := t.TempDir(), certificates.Issue(t, nil, nil), certificates.Issue(t, nil, nil)
	ca, caKey := authority.Write(t, folder, "authority")
	otherCA, otherKey := other.Write(t, folder, "other")
	cert, key := certificates.Issue(t, authority, nil).Write(t, folder, "own")
	address := encrypt(t, plain, authority, certificates.Issue(t, authority, nil))
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
