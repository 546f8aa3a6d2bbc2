package main

import (
	"context"
	"encoding/binary"
	"io"
	"net"
	"strings"
	"testing"
	"time"
)

// answeringPack is a serial device server with the worked example's pack at a
// unit: it answers requests for its registers, and is silent else.
func answeringPack(t *testing.T, unit byte) (endpoint string) {
	t.Helper()
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { listener.Close() })
	registers := make([]byte, 2*73)
	copy(registers, workedExample(t))
	go func() {
		for {
			c, err := listener.Accept()
			if err != nil {
				return
			}
			go answerRequests(c, unit, registers)
		}
	}()
	return "tcp:" + listener.Addr().String()
}

func answerRequests(c net.Conn, unit byte, registers []byte) {
	defer c.Close()
	request := make([]byte, 8)
	for {
		if _, err := io.ReadFull(c, request); err != nil {
			return
		}
		from, count := 2*int(binary.BigEndian.Uint16(request[2:])), 2*int(binary.BigEndian.Uint16(request[4:]))
		if request[0] != unit || request[1] != 3 || from+count > len(registers) {
			continue
		}
		_, _ = c.Write(rtu(append([]byte{unit, 3, byte(count)}, registers[from:from+count]...)...))
	}
}

// TestIdentifyAsks wants a silent pack found by asking, and left alone without.
func TestIdentifyAsks(t *testing.T) {
	t.Parallel()
	from := answeringPack(t, 2)
	var out, log strings.Builder
	if code := run(t.Context(), []string{"identify", from, "--ask"}, &streams{&out, &log}); code != exitDone {
		t.Fatalf("exit code %d: %s", code, log.String())
	}
	if !strings.Contains(out.String(), "\nmapping: marrowfen-mf16\n") {
		t.Errorf("got %s", out.String())
	}
	if !strings.Contains(log.String(), "only questions that read are transmitted") {
		t.Errorf("it does not say that it transmits: %s", log.String())
	}
	out.Reset()
	if code := run(t.Context(), []string{"identify", from, "--for", "300ms"}, &streams{&out, &log}); code != exitDoesNotFit {
		t.Errorf("without --ask: exit code %d: %s", code, out.String())
	}
}

// TestIdentifyHears wants a pack identified that another master asks, without a
// byte sent.
func TestIdentifyHears(t *testing.T) {
	t.Parallel()
	from, sent := deviceServer(t)
	ctx, cancel := context.WithTimeout(t.Context(), 20*time.Second)
	defer cancel()
	var out, log strings.Builder
	if code := run(ctx, []string{"identify", from}, &streams{&out, &log}); code != exitDone {
		t.Fatalf("exit code %d: %s%s", code, out.String(), log.String())
	}
	if !strings.Contains(out.String(), "\nmapping: marrowfen-mf16\n") {
		t.Errorf("got %s", out.String())
	}
	if sent.String() != "" {
		t.Errorf("%d bytes were sent", len(sent.String()))
	}
}

// TestIdentifyAskIsForBuses wants a clear refusal where nobody can be asked.
func TestIdentifyAskIsForBuses(t *testing.T) {
	for _, args := range [][]string{{"http:127.0.0.1:1", "--ask"}, {"demo/boathouse.pcapng", "--ask"}} {
		var out, log strings.Builder
		if code := run(t.Context(), append([]string{"identify"}, args...), &streams{&out, &log}); code != exitUsage {
			t.Errorf("%v: exit code %d: %s", args, code, log.String())
		}
	}
}
