package modbus

import (
	"bytes"
	"context"
	"errors"
	"net"
	"os/exec"
	"strings"
	"testing"

	peer "github.com/grid-x/modbus"

	"packlink/fixtures/beside"
)

// The tests of this file ask the server by software that is not of this project.

// connectPeer connects the client library for one unit id.
func connectPeer(t *testing.T, server *serving, unit byte) peer.Client {
	t.Helper()
	handler := peer.NewTCPClientHandler(server.listener.Addr().String())
	handler.SetSlave(unit)
	if err := handler.Connect(context.Background()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { handler.Close() })
	return peer.NewClient(handler)
}

func TestClientLibraryReads(t *testing.T) {
	ctx, server := context.Background(), serveFixtures(t)
	for _, unit := range []byte{0, 1, 255} {
		client := connectPeer(t, server, unit)
		holding, err := client.ReadHoldingRegisters(ctx, 107, 3)
		if want := []byte{2, 0x2B, 0, 0, 0, 100}; err != nil || !bytes.Equal(holding, want) {
			t.Errorf("unit %d: got % X, %v; want % X", unit, holding, err, want)
		}
		input, err := client.ReadInputRegisters(ctx, 400, 125)
		if err != nil || len(input) != 250 || input[248] != 0x40 || input[249] != 124 {
			t.Errorf("unit %d: got % X, %v", unit, input, err)
		}
	}
}

func TestClientLibraryIdentifies(t *testing.T) {
	ctx, server := context.Background(), serveFixtures(t)
	basic, err := connectPeer(t, server, 255).ReadDeviceIdentification(ctx, peer.ReadDeviceIDCodeBasic)
	if err != nil || len(basic) != 3 || string(basic[1]) != "Product code XX" {
		t.Errorf("got %q, %v", basic, err)
	}
	client := connectPeer(t, server, 2)
	regular, err := client.ReadDeviceIdentification(ctx, peer.ReadDeviceIDCodeRegular) // it streams from object 3 on
	if err != nil || len(regular) != 3 || string(regular[4]) != strings.Repeat("b", 120) || string(regular[6]) != "bench" {
		t.Errorf("got %q, %v", regular, err)
	}
	all, err := client.ReadDeviceIdentification(ctx, peer.ReadDeviceIDCodeExtended) // from object 0x80 on: unknown, so from 0
	if err != nil || len(all) != 6 || string(all[0]) != "V" || string(all[6]) != "bench" {
		t.Errorf("got %q, %v", all, err)
	}
	one, err := client.ReadDeviceIdentificationSpecificObject(ctx, 2)
	if err != nil || len(one) != 1 || string(one[2]) != "1.0" {
		t.Errorf("got %q, %v", one, err)
	}
}

func TestClientLibraryIsRefused(t *testing.T) {
	ctx, server := context.Background(), serveFixtures(t)
	client, unknown := connectPeer(t, server, 1), connectPeer(t, server, 3)
	for name, c := range map[string]struct {
		call func() ([]byte, error)
		want byte
	}{
		"write register":   {func() ([]byte, error) { return client.WriteSingleRegister(ctx, 1, 3) }, 0x01},
		"write registers":  {func() ([]byte, error) { return client.WriteMultipleRegisters(ctx, 1, 1, []byte{0, 3}) }, 0x01},
		"write coil":       {func() ([]byte, error) { return client.WriteSingleCoil(ctx, 172, 0xFF00) }, 0x01},
		"mask write":       {func() ([]byte, error) { return client.MaskWriteRegister(ctx, 4, 0xF2, 0x25) }, 0x01},
		"read coils":       {func() ([]byte, error) { return client.ReadCoils(ctx, 0, 1) }, 0x01},
		"unmapped":         {func() ([]byte, error) { return client.ReadHoldingRegisters(ctx, 96, 5) }, 0x02},
		"missing":          {func() ([]byte, error) { return client.ReadInputRegisters(ctx, 203, 1) }, 0x0B},
		"unknown unit":     {func() ([]byte, error) { return unknown.ReadHoldingRegisters(ctx, 0, 1) }, 0x0B},
		"write to unknown": {func() ([]byte, error) { return unknown.WriteSingleRegister(ctx, 0, 1) }, 0x01},
	} {
		_, err := c.call()
		var refused *peer.Error
		if !errors.As(err, &refused) || refused.ExceptionCode != c.want {
			t.Errorf("%s: got %v, want exception %02X", name, err, c.want)
		}
	}
}

// mbpoll is a command-line client, of the Debian package of that name.
func mbpoll(t *testing.T, server *serving, arguments ...string) (output string, err error) {
	t.Helper()
	path, err := exec.LookPath("mbpoll")
	if err != nil {
		beside.Missing(t, "mbpoll is not installed: ", err, "; try: apt-get install mbpoll")
	}
	_, port, err := net.SplitHostPort(server.listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	arguments = append([]string{"-m", "tcp", "-p", port, "-1"}, arguments...)
	text, err := exec.Command(path, arguments...).CombinedOutput()
	return string(text), err
}

func TestMbpollReads(t *testing.T) {
	server := serveFixtures(t)
	for _, c := range []struct{ arguments, says string }{
		{"-a 1 -r 108 -c 3 -t 4:hex 127.0.0.1", "[108]: \t0x022B\n[109]: \t0x0000\n[110]: \t0x0064\n"},
		{"-a 255 -r 9 -c 1 -t 3 127.0.0.1", "[9]: \t10\n"},
		{"-a 0 -0 -r 65535 -c 1 -t 4:hex 127.0.0.1", "[65535]: \t0xFFFF\n"},
		{"-a 1 -0 -r 400 -c 125 -t 3:hex 127.0.0.1", "[524]: \t0x407C\n"},
	} {
		output, err := mbpoll(t, server, strings.Fields(c.arguments)...)
		if err != nil || !strings.Contains(output, c.says) {
			t.Errorf("mbpoll %s: %v, want %q in\n%s", c.arguments, err, c.says, output)
		}
	}
}

func TestMbpollIsRefused(t *testing.T) {
	server := serveFixtures(t)
	for _, c := range []struct{ arguments, says string }{
		{"-a 1 -0 -r 96 -c 5 -t 4:hex 127.0.0.1", "Illegal data address"},
		{"-a 1 -0 -r 203 -c 1 -t 4:hex 127.0.0.1", "Target device failed to respond"},
		{"-a 3 -r 1 -c 1 -t 4:hex 127.0.0.1", "Target device failed to respond"},
		{"-a 1 -r 1 -t 4 127.0.0.1 5", "Illegal function"},
		{"-a 1 -r 1 -c 8 -t 0 127.0.0.1", "Illegal function"},
	} {
		output, _ := mbpoll(t, server, strings.Fields(c.arguments)...) // it exits 0 for some refusals
		if !strings.Contains(output, c.says) {
			t.Errorf("mbpoll %s: want %q in\n%s", c.arguments, c.says, output)
		}
	}
}
