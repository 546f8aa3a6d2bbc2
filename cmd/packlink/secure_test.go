package main

import (
	"crypto/x509"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"packlink/fixtures/certificates"
)

// twoRegisters is a layout that can be shown and polled.
const twoRegisters = `packlink: 1
name: two-registers
title: Voltage and current
source: [{title: "common practice, no source"}]
bus: {registers: {table: holding}}
messages:
  - name: terminals
    read: {from: 0, count: 2, every: 1s}
    fields:
      - {at: 0, as: u16, is: voltage_v, scale: 0.01}
      - {at: 1, as: i16, is: current_a, scale: 0.1, sign: charge-positive}
    examples:
      - {hex: 1480 FF83, gives: {voltage_v: 52.48, current_a: -12.5}, source: worked by hand}
`

// secureBridge shows a pack of the demonstration by MODBUS/TCP Security.
func secureBridge(t *testing.T, folder string, authority *certificates.Holder) (address string) {
	t.Helper()
	if err := os.WriteFile(filepath.Join(folder, "two.yaml"), []byte(twoRegisters), 0o644); err != nil {
		t.Fatal(err)
	}
	authority.Write(t, folder, "authority")
	certificates.Issue(t, authority, nil).Write(t, folder, "server")
	log := startBridge(t, folder, boat+`outputs:
  - {to: "modbus-tls:127.0.0.1:0?cert=server.pem&key=server.key&ca=authority.pem&roles=Watch", mapping: ./two.yaml, units: {1: boat/1}}
`, "unit 1 boat/1")
	return regexp.MustCompile(`modbus-tls (\S+)`).FindStringSubmatch(log.String())[1]
}

// watch puts the role into a certificate that the bridge of these tests lets read.
func watch(change func(*x509.Certificate)) func(*x509.Certificate) {
	return func(c *x509.Certificate) {
		certificates.Extended([]int{1, 3, 6, 1, 4, 1, 50316, 802, 1}, append([]byte{12, 5}, "Watch"...))(c)
		if change != nil {
			change(c)
		}
	}
}

// TestSecureSourceReadsSecureOutput has both ends of an encrypted connection: one bridge
// shows a pack, another one polls it by the same mapping.
func TestSecureSourceReadsSecureOutput(t *testing.T) {
	folder, authority := t.TempDir(), certificates.Issue(t, nil, nil)
	address := secureBridge(t, folder, authority)
	certificates.Issue(t, authority, watch(nil)).Write(t, folder, "client")
	log := startBridge(t, folder, `sources: [{name: far, from: "modbus-tls:`+address+`?ca=authority.pem&cert=client.pem&key=client.key", mapping: ./two.yaml, poll: true, addresses: [1]}]
outputs: [{to: "http:127.0.0.1:0"}]
`, "http://")
	web := waitForAddress(t, log)
	for range 400 {
		if volts, is := get(t, web, "/v1/bank")["voltage_v"].(float64); is {
			if volts < 50 || volts > 58 {
				t.Errorf("the voltage is %v V", volts)
			}
			return
		}
		time.Sleep(20 * time.Millisecond)
	}
	t.Errorf("no voltage came through: %s", log)
}

// TestSecureOutputRefuses: who is not known, or not allowed to read, reads nothing.
func TestSecureOutputRefuses(t *testing.T) {
	folder, authority := t.TempDir(), certificates.Issue(t, nil, nil)
	address := secureBridge(t, folder, authority)
	stranger := certificates.Issue(t, nil, nil)
	stranger.Write(t, folder, "stranger")
	for name, c := range map[string]struct {
		ca   string
		with *certificates.Holder
		says string // what the source's log says
	}{
		"a server of an unknown authority": {"stranger", certificates.Issue(t, authority, watch(nil)), "certificate signed by unknown authority"},
		"a client of an unknown authority": {"authority", certificates.Issue(t, stranger, watch(nil)), "is lost"},
		"expired":                          {"authority", certificates.Issue(t, authority, watch(certificates.Expired)), "is lost"},
		"no role":                          {"authority", certificates.Issue(t, authority, nil), "refuses"},
	} {
		with := strings.ReplaceAll(name, " ", "-")
		c.with.Write(t, folder, with)
		log := startBridge(t, folder, `sources: [{name: far, from: "modbus-tls:`+address+`?ca=`+c.ca+`.pem&cert=`+with+`.pem&key=`+with+`.key", mapping: ./two.yaml, poll: true, addresses: [1]}]
outputs: [{to: "http:127.0.0.1:0"}]
`, c.says)
		if bank := get(t, waitForAddress(t, log), "/v1/bank"); bank["voltage_v"] != nil {
			t.Errorf("%s: it reads %v", name, bank)
		}
	}
}
