package canbus

import (
	"encoding/binary"
	"testing"

	"golang.org/x/sys/unix"
	"pgregory.net/rapid"
)

// attribute builds a struct rtattr.
func attribute(kind uint16, values ...[]byte) []byte {
	var body []byte
	for _, v := range values {
		body = append(body, v...)
	}
	b := binary.NativeEndian.AppendUint16(nil, uint16(4+len(body)))
	b = append(binary.NativeEndian.AppendUint16(b, kind), body...)
	return append(b, make([]byte, -len(b)&3)...)
}

// words builds numbers of 32 bits.
func words(all ...uint32) (b []byte) {
	for _, w := range all {
		b = binary.NativeEndian.AppendUint32(b, w)
	}
	return b
}

// controllerLink is what the kernel says about a controller at 500 kbit/s that is
// error passive, after linux/can/netlink.h and linux/rtnetlink.h.
func controllerLink() []byte {
	head := binary.NativeEndian.AppendUint16(nil, unix.AF_UNSPEC)
	head = append(binary.NativeEndian.AppendUint16(head, unix.ARPHRD_CAN), words(7, unix.IFF_UP, 0)...)
	counters := binary.NativeEndian.AppendUint16(binary.NativeEndian.AppendUint16(nil, 130), 5)
	data := attribute(unix.IFLA_INFO_DATA,
		attribute(canBitTiming, words(500_000, 875, 125, 6, 7, 2, 1, 3)),
		attribute(canState, words(2)),
		attribute(canControlMode, words(0, controlListenOnly)),
		attribute(canErrorCounters, counters),
		attribute(canDataBitTiming, words(2_000_000, 0, 0, 0, 0, 0, 0, 0)))
	info := attribute(unix.IFLA_LINKINFO|unix.NLA_F_NESTED, attribute(unix.IFLA_INFO_KIND, []byte("can\x00")), data,
		attribute(unix.IFLA_INFO_XSTATS, words(11, 12, 13, 14, 15, 16)))
	counts := attribute(unix.IFLA_STATS64, words(make([]uint32, 12)...), words(0, 0), make([]byte, 80))
	binary.NativeEndian.PutUint64(counts[4+6*8:], 9)
	head = append(head, counts...)
	return append(append(append(head, attribute(unix.IFLA_IFNAME, []byte("can0\x00"))...), attribute(unix.IFLA_MTU, words(72))...), info...)
}

func TestParseLink(t *testing.T) {
	want := Interface{
		Name: "can0", Kind: "can", Index: 7, Up: true, FD: true, RxDropped: 9, ListenOnly: true, State: Passive, BitRate: 500_000, DataBitRate: 2_000_000,
		Counted: true, TxErrors: 130, RxErrors: 5, Statistics: true, BusErrors: 11, BusOffs: 14, ArbitrationLost: 15, Restarts: 16,
	}
	if got, ok := parseLink(unix.RTM_NEWLINK, controllerLink()); !ok || got != want {
		t.Errorf("%+v, %t, want %+v", got, ok, want)
	}
	if _, ok := parseLink(unix.RTM_DELLINK, controllerLink()); ok {
		t.Error("a link that was deleted is listed")
	}
	ethernet := controllerLink()
	binary.NativeEndian.PutUint16(ethernet[2:], unix.ARPHRD_ETHER)
	if _, ok := parseLink(unix.RTM_NEWLINK, ethernet); ok {
		t.Error("an Ethernet interface is listed")
	}
}

// TestParseLinkTakesAnything cuts the message and spoils bytes of it: reading it
// ends, and what is past a cut is not known.
func TestParseLinkTakesAnything(t *testing.T) {
	whole := controllerLink()
	rapid.Check(t, func(t *rapid.T) {
		b := append([]byte(nil), whole[:rapid.IntRange(0, len(whole)).Draw(t, "length")]...)
		cut := len(b) < len(whole)
		for range rapid.IntRange(0, 3).Draw(t, "spoilt") {
			if len(b) > 0 {
				b[rapid.IntRange(0, len(b)-1).Draw(t, "at")] = rapid.Byte().Draw(t, "value")
				cut = false
			}
		}
		if i, _ := parseLink(unix.RTM_NEWLINK, b); cut && i.Statistics {
			t.Fatalf("%d of %d bytes give %+v", len(b), len(whole), i)
		}
	})
}

// TestInterfacesAnswers asks the kernel of this machine, which may have no CAN.
func TestInterfacesAnswers(t *testing.T) {
	all, err := Interfaces()
	if err != nil {
		t.Fatal(err)
	}
	for _, i := range all {
		if i.Name == "" || i.Index <= 0 {
			t.Errorf("%+v", i)
		}
	}
}
