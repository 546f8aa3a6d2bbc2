package capture

import (
	"bytes"
	"encoding/hex"
	"strings"
	"testing"

	"packlink/transport"
)

// wantLayout is a capture of one CAN and one serial frame, field by field.
//
// Source of the blocks: draft-ietf-opsawg-pcapng, "PCAP Next Generation (pcapng)
// Capture File Format", sections 3.1 (block), 3.5 (options), 4.1 (section
// header), 4.2 (interface description), 4.3 (enhanced packet), and of the link
// types draft-ietf-opsawg-pcaplinktype with linux/can.h. The layouts are verified
// there, the section numbers are from memory.
const wantLayout = `
0A0D0D0A             # 4.1 block type
1C000000             # block total length
4D3C2B1A             # byte-order magic 0x1A2B3C4D, little-endian
0100 0000            # version 1.0
FFFFFFFFFFFFFFFF     # section length: not specified
1C000000             # block total length

01000000             # 4.2 block type
28000000             # block total length
E300 0000            # link type 227, reserved
00000000             # snap length: no limit
0200 0400 63616E30   # if_name "can0"
0900 0100 09000000   # if_tsresol 10^-9, padded to 32 bits
0000 0000            # opt_endofopt
28000000             # block total length

01000000             # 4.2 block type
2C000000             # block total length
FA00 0000            # link type 250, reserved
00000000             # snap length: no limit
0200 0500 7273343835 000000 # if_name "rs485", padded to 32 bits
0900 0100 09000000   # if_tsresol 10^-9
0000 0000            # opt_endofopt
2C000000             # block total length

06000000             # 4.3 block type
3C000000             # block total length
00000000             # interface id
91D4B318 00E127BA    # time stamp 0x18B3D491BA27E100 = 1780000000100000000, high word first
0E000000             # captured packet length
0E000000             # original packet length
80000351 06 00 00 00 # can_id big-endian with bit 31, length, FD flags, reserved, len8_dlc
C0140000D700         # payload
0000                 # padding to 32 bits
0200 0400 01000001   # epb_flags: inbound, bit 24: CRC error
0000 0000            # opt_endofopt
3C000000             # block total length

06000000             # 4.3 block type
48000000             # block total length
01000000             # interface id
91D4B318 E8F72FBA    # time stamp 1780000000100530152
0F000000             # captured packet length
0F000000             # original packet length
6A18A500 000188B2    # seconds 1780000000 and microseconds 100530, big-endian
01 00 0000           # data transmit start, no control lines, footer
010306               # bytes
00                   # padding to 32 bits
0200 0400 02000000   # epb_flags: outbound
0400 0800 0100000000000000 # epb_dropcount 1
0000 0000            # opt_endofopt
48000000             # block total length
`

func TestWriterLayout(t *testing.T) {
	var want []byte
	for line := range strings.Lines(wantLayout) {
		pairs, _, _ := strings.Cut(line, "#")
		data, err := hex.DecodeString(strings.Join(strings.Fields(pairs), ""))
		if err != nil {
			t.Fatal(err)
		}
		want = append(want, data...)
	}
	got := writeAll(t, []Bus{{"can0", transport.CAN}, {"rs485", transport.Serial}},
		transport.Frame{Time: 1780000000100000000, ID: 0x351, Medium: transport.CAN, Direction: transport.Received,
			Flags: transport.Extended | transport.Damaged, Data: []byte{0xC0, 0x14, 0, 0, 0xD7, 0}},
		transport.Frame{Time: 1780000000100530152, Channel: 1, Medium: transport.Serial, Direction: transport.Sent,
			Flags: transport.Lost, Data: []byte{1, 3, 6}})
	if !bytes.Equal(got, want) {
		t.Errorf("wrote\n%swant\n%s", hex.Dump(got), hex.Dump(want))
	}
}
