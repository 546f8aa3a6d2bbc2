package decode

import (
	"encoding/hex"
	"strconv"
	"strings"
	"testing"
	"time"

	"packlink/transport"
)

// publishedFastPackets are payloads built by a general-purpose NMEA 2000 library,
// and the frames with the sequence counter 5 in which it sends them: 127506 with
// all values and with none, and 127513, which is a fast packet though it has 8
// bytes (ttlappalainen/NMEA2000, commit 658953174f57).
func publishedFastPackets(t *testing.T) (vectors []struct {
	payload []byte
	frames  [][]byte
}) {
	for _, text := range []string{
		"07000058620E0132006400: A00B07000058620E A10132006400FFFF",
		"FF020058FFFFFFFFFFFFFF: A00BFF020058FFFF A1FFFFFFFFFFFFFF",
		"00C2166400351961: A00800C216640035 A11961FFFFFFFFFF",
	} {
		payload, frames, _ := strings.Cut(text, ": ")
		v := struct {
			payload []byte
			frames  [][]byte
		}{payload: unhex(t, payload)}
		for _, f := range strings.Fields(frames) {
			v.frames = append(v.frames, unhex(t, f))
		}
		vectors = append(vectors, v)
	}
	return vectors
}

// step is a frame as the text logs have it, the silence before it, what becomes
// of it and the payload that it completes.
type step struct {
	frame string
	is    string
	gives string
	after time.Duration
}

// The ids: fast packets 19F212 and ISO-TP 18DA..F1 carry the sender in their
// lowest and second byte. 1CEC and 1CEB are the transport protocol's, followed by
// destination and source. The announced PGN 65226 is CA FE 00.
var transferCases = []struct {
	name  string
	steps []step
}{
	{"fast packet within one frame", []step{{frame: "19F21221#2002AABBFFFFFFFF", is: "decoded", gives: "AABB"}}},
	{"fast packet of no bytes", []step{{frame: "19F21221#2000", is: "decoded"}}},
	{"fast packet without a length", []step{{frame: "19F21221#20", is: "short"}}},
	{"fast packet that is longer than its numbers reach", []step{{frame: "19F21221#20E0010203040506", is: "malformed"}}},
	{"frame without bytes", []step{{frame: "19F21221#", is: "short"}, {frame: "18DA21F1#", is: "short"}}},
	{"fast packet whose beginning was not heard", []step{{frame: "19F21221#2101020304050607", is: "gap"}}},
	{"fast packet that begins anew", []step{
		{frame: "19F21221#2008010203040506", is: "part"},
		{frame: "19F21221#2008111213141516", is: "unfinished"},
		{frame: "19F21221#211718FFFFFFFFFF", is: "decoded", gives: "1112131415161718"},
	}},
	{"fast packets of one sender, two counters", []step{
		{frame: "19F21221#2008010203040506", is: "part"},
		{frame: "19F21221#4008111213141516", is: "part"},
		{frame: "19F21221#210708FFFFFFFFFF", is: "decoded", gives: "0102030405060708"},
		{frame: "19F21221#411718FFFFFFFFFF", is: "decoded", gives: "1112131415161718"},
	}},
	{"fast packet that lacks a frame", []step{
		{frame: "19F21221#2015010203040506", is: "part"},
		{frame: "19F21221#220E0F1011121314", is: "gap"},
		{frame: "19F21221#2315FFFFFFFFFFFF", is: "gap"},
		{frame: "19F21221#2008010203040506", is: "part"},
	}},
	{"fast packet that pauses", []step{
		{frame: "19F21221#2008010203040506", is: "part"},
		{frame: "19F21221#210708FFFFFFFFFF", is: "overtime", after: fastPacketPatience},
	}},
	{"fast packet whose last frame is cut", []step{
		{frame: "19F21221#2009010203040506", is: "part"},
		{frame: "19F21221#210708", is: "short"},
	}},
	{"last frame without filling", []step{
		{frame: "19F21221#2008010203040506", is: "part"},
		{frame: "19F21221#210708", is: "decoded", gives: "0102030405060708"},
	}},

	{"message of the transport protocol that fits a frame", []step{{frame: "18FECA21#0102030405060708", is: "decoded", gives: "0102030405060708"}}},
	{"broadcast", []step{
		{frame: "1CECFF21#20090002FFCAFE00", is: "part"},
		{frame: "1CEBFF21#0101020304050607", is: "part"},
		{frame: "1CEBFF21#020809FFFFFFFFFF", is: "decoded", gives: "010203040506070809"},
		{frame: "1CEBFF21#020809FFFFFFFFFF", is: "unknown"},
	}},
	{"broadcasts of two senders", []step{
		{frame: "1CECFF21#20090002FFCAFE00", is: "part"},
		{frame: "1CECFF22#20090002FFCAFE00", is: "part"},
		{frame: "1CEBFF22#0111121314151617", is: "part"},
		{frame: "1CEBFF21#0101020304050607", is: "part"},
		{frame: "1CEBFF21#020809FFFFFFFFFF", is: "decoded", gives: "010203040506070809"},
		{frame: "1CEBFF22#021819FFFFFFFFFF", is: "decoded", gives: "111213141516171819"},
	}},
	{"broadcast of another message", []step{
		{frame: "1CECFF21#20090002FFCBFE00", is: "unknown"},
		{frame: "1CEBFF21#0101020304050607", is: "unknown"},
	}},
	{"broadcast of another message before the last was whole", []step{
		{frame: "1CECFF21#20090002FFCAFE00", is: "part"},
		{frame: "1CECFF21#20090002FFCBFE00", is: "unfinished"},
		{frame: "1CEBFF21#0101020304050607", is: "unknown"},
	}},
	{"broadcast whose length and packets differ", []step{
		{frame: "1CECFF21#20090003FFCAFE00", is: "malformed"},
		{frame: "1CECFF21#20FA0600FFCAFE00", is: "malformed"},
	}},
	{"broadcast that ends in an impossible announcement", []step{
		{frame: "1CECFF21#20090002FFCAFE00", is: "part"},
		{frame: "1CECFF21#20090003FFCAFE00", is: "malformed"},
		{frame: "1CEBFF21#0101020304050607", is: "unknown"},
	}},
	{"broadcast of what fits a frame", []step{{frame: "1CECFF21#20080002FFCAFE00", is: "malformed"}}},
	{"broadcast of a group whose number has bits that no id holds", []step{{frame: "1CECFF21#20090002FFCAFE04", is: "unknown"}, {frame: "1CECFF21#20090002FFCAFE80", is: "unknown"}}},
	{"announcement that is cut", []step{{frame: "1CECFF21#20090002FFCAFE", is: "unknown"}}},
	{"broadcast without its first packet", []step{
		{frame: "1CECFF21#20090002FFCAFE00", is: "part"},
		{frame: "1CEBFF21#020809FFFFFFFFFF", is: "gap"},
		{frame: "1CEBFF21#0101020304050607", is: "gap"},
	}},
	{"broadcast that pauses", []step{
		{frame: "1CECFF21#20090002FFCAFE00", is: "part"},
		{frame: "1CEBFF21#0101020304050607", is: "overtime", after: broadcastPatience},
	}},
	{"connection, in which a packet is asked for again", []step{
		{frame: "1CEC3021#10090002FFCAFE00", is: "part"},
		{frame: "1CEC2130#110201FFFFCAFE00", is: "part"},
		{frame: "1CEB3021#01FFFFFFFFFFFFFF", is: "part"},
		{frame: "1CEC2130#110201FFFFCAFE00", is: "part"},
		{frame: "1CEB3021#0101020304050607", is: "part"},
		{frame: "1CEB3021#020809FFFFFFFFFF", is: "decoded", gives: "010203040506070809"},
		{frame: "1CEC2130#13090002FFCAFE00", is: "part"},
	}},
	{"connection that the receiver holds open", []step{
		{frame: "1CEC3021#10090002FFCAFE00", is: "part"},
		{frame: "1CEC2130#1100FFFFFFCAFE00", is: "part", after: time.Second},
		{frame: "1CEB3021#0101020304050607", is: "part", after: time.Second},
		{frame: "1CEC2130#1100FFFFFFCAFE00", is: "part", after: time.Second},
		{frame: "1CEB3021#020809FFFFFFFFFF", is: "overtime", after: connectionPatience},
		{frame: "1CEC2130#110102FFFFCAFE00", is: "overtime"},
	}},
	{"connection of which a packet was not heard", []step{
		{frame: "1CEC3021#100F0003FFCAFE00", is: "part"},
		{frame: "1CEC2130#110302FFFFCAFE00", is: "gap"},
		{frame: "1CEB3021#0208090A0B0C0D0E", is: "gap"},
	}},
	{"clearance of packet 0", []step{
		{frame: "1CEC3021#10090002FFCAFE00", is: "part"},
		{frame: "1CEC2130#110200FFFFCAFE00", is: "gap"},
	}},
	{"clearance of what was not heard to begin", []step{{frame: "1CEC2130#110201FFFFCAFE00", is: "part"}}},
	{"connection that the receiver gives up", []step{
		{frame: "1CEC3021#10090002FFCAFE00", is: "part"},
		{frame: "1CEC2130#FF01FFFFFFCAFE00", is: "unfinished"},
		{frame: "1CEC2130#FF01FFFFFFCAFE00", is: "part"},
		{frame: "1CEB3021#0101020304050607", is: "unknown"},
	}},
	{"connection that the sender gives up", []step{
		{frame: "1CEC3021#10090002FFCAFE00", is: "part"},
		{frame: "1CEC3021#FF01FFFFFFCAFE00", is: "unfinished"},
	}},
	{"management of another kind", []step{{frame: "1CEC3021#15090002FFCAFE00", is: "malformed"}, {frame: "1CEC3021#15090002FFCBFE00", is: "unknown"}}},
	{"packet of no transfer, and without bytes", []step{{frame: "1CEBFF21#0101020304050607", is: "unknown"}, {frame: "1CEBFF21#", is: "unknown"}}},
	{"frame with a short id", []step{{frame: "321#0101020304050607", is: "unknown"}}},

	{"iso-tp single frame", []step{{frame: "18DA21F1#03AABBCC55555555", is: "decoded", gives: "AABBCC"}}},
	{"iso-tp single frame that is cut", []step{{frame: "18DA21F1#03AABB", is: "short"}}},
	{"iso-tp single frame of no bytes, and of more than it holds", []step{
		{frame: "18DA21F1#00AABBCC55555555", is: "malformed"},
		{frame: "18DA21F1#08AABBCC55555555", is: "malformed"},
	}},
	{"iso-tp with flow control of both sides", []step{
		{frame: "18DA21F1#1009010203040506", is: "part"},
		{frame: "18DA21F1#3000000000000000", is: "part"},
		{frame: "18DA21F1#21070809CCCCCCCC", is: "decoded", gives: "010203040506070809"},
	}},
	{"iso-tp first frame of what fits a single one", []step{{frame: "18DA21F1#1007010203040506", is: "malformed"}}},
	{"iso-tp first frame with a long length", []step{{frame: "18DA21F1#1000000010000102", is: "malformed"}}},
	{"iso-tp first frame that is cut", []step{{frame: "18DA21F1#100901020304", is: "short"}}},
	{"iso-tp frame of a kind that there is not", []step{{frame: "18DA21F1#4009010203040506", is: "malformed"}}},
	{"iso-tp frame in a long frame", []step{{frame: "18DA21F1##1101010101010101010101010", is: "long"}}},
	{"iso-tp wrong order", []step{
		{frame: "18DA21F1#1014010203040506", is: "part"},
		{frame: "18DA21F1#220708090A0B0C0D", is: "gap"},
	}},
	{"iso-tp that pauses", []step{
		{frame: "18DA21F1#1009010203040506", is: "part"},
		{frame: "18DA21F1#21070809CCCCCCCC", is: "overtime", after: isoTPPatience},
	}},
	{"iso-tp single frame amid a transfer", []step{
		{frame: "18DA21F1#1009010203040506", is: "part"},
		{frame: "18DA21F1#01AA", is: "decoded", gives: "AA"},
		{frame: "18DA21F1#21070809CCCCCCCC", is: "gap"},
	}},
}

// parseStep reads a frame of a text log.
func parseStep(t *testing.T, text string) transport.Frame {
	t.Helper()
	id, data, ok := strings.Cut(text, "#")
	n, err := strconv.ParseUint(id, 16, 32)
	if !ok || err != nil {
		t.Fatalf("%q is no frame", text)
	}
	f := transport.Frame{Medium: transport.CAN, ID: uint32(n)}
	if rest, fd := strings.CutPrefix(data, "#"); fd {
		f.Flags, data = transport.FD, rest[1:]
	}
	if len(id) > 3 {
		f.Flags |= transport.Extended
	}
	f.Data = unhex(t, data)
	return f
}

func unhex(t *testing.T, text string) []byte {
	t.Helper()
	data, err := hex.DecodeString(text)
	if err != nil {
		t.Fatal(err)
	}
	return data
}
