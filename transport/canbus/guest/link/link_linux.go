// Package link adds, removes, raises and lowers network interfaces by
// rtnetlink. The guest and its tests use it; it needs the rights of root.
package link

import (
	"encoding/binary"
	"fmt"
	"net"

	"golang.org/x/sys/unix"
)

// Add makes an interface of a kind such as "vcan", with a maximum transfer unit
// in bytes.
func Add(name, kind string, mtu uint32) error {
	body := header(0, 0, 0)
	body = attribute(body, unix.IFLA_IFNAME, append([]byte(name), 0))
	body = attribute(body, unix.IFLA_MTU, binary.NativeEndian.AppendUint32(nil, mtu))
	body = attribute(body, unix.IFLA_LINKINFO, attribute(nil, unix.IFLA_INFO_KIND, []byte(kind)))
	return request(unix.RTM_NEWLINK, unix.NLM_F_CREATE|unix.NLM_F_EXCL, body, "add", name)
}

// Delete removes an interface.
func Delete(name string) error { return change(unix.RTM_DELLINK, name, 0, 0, "delete") }

// Up raises an interface.
func Up(name string) error {
	return change(unix.RTM_NEWLINK, name, unix.IFF_UP, unix.IFF_UP, "raise")
}

// Down lowers an interface.
func Down(name string) error { return change(unix.RTM_NEWLINK, name, 0, unix.IFF_UP, "lower") }

func change(kind uint16, name string, flags, mask uint32, verb string) error {
	i, err := net.InterfaceByName(name)
	if err != nil {
		return fmt.Errorf("%s %s: %w", verb, name, err)
	}
	return request(kind, 0, header(int32(i.Index), flags, mask), verb, name)
}

// header is struct ifinfomsg (linux/rtnetlink.h).
func header(index int32, flags, mask uint32) []byte {
	b := make([]byte, unix.SizeofIfInfomsg)
	binary.NativeEndian.PutUint32(b[4:], uint32(index))
	binary.NativeEndian.PutUint32(b[8:], flags)
	binary.NativeEndian.PutUint32(b[12:], mask)
	return b
}

// attribute appends a struct rtattr with its value, padded to four bytes.
func attribute(b []byte, kind uint16, value []byte) []byte {
	b = binary.NativeEndian.AppendUint16(b, uint16(unix.SizeofRtAttr+len(value)))
	b = binary.NativeEndian.AppendUint16(b, kind)
	b = append(b, value...)
	for len(b)%4 != 0 {
		b = append(b, 0)
	}
	return b
}

// request sends one message and waits for its acknowledgement.
func request(kind, flags uint16, body []byte, verb, name string) error {
	fd, err := unix.Socket(unix.AF_NETLINK, unix.SOCK_RAW|unix.SOCK_CLOEXEC, unix.NETLINK_ROUTE)
	if err != nil {
		return fmt.Errorf("%s %s: netlink: %w", verb, name, err)
	}
	defer unix.Close(fd)
	message := binary.NativeEndian.AppendUint32(nil, uint32(unix.SizeofNlMsghdr+len(body)))
	message = binary.NativeEndian.AppendUint16(message, kind)
	message = binary.NativeEndian.AppendUint16(message, flags|unix.NLM_F_REQUEST|unix.NLM_F_ACK)
	message = append(message, make([]byte, 8)...) // sequence number and port
	message = append(message, body...)
	if err := unix.Sendto(fd, message, 0, &unix.SockaddrNetlink{Family: unix.AF_NETLINK}); err != nil {
		return fmt.Errorf("%s %s: netlink: %w", verb, name, err)
	}
	var answer [4096]byte
	n, _, err := unix.Recvfrom(fd, answer[:], 0)
	if err != nil {
		return fmt.Errorf("%s %s: netlink: %w", verb, name, err)
	}
	if n < unix.SizeofNlMsghdr+4 {
		return fmt.Errorf("%s %s: netlink: an answer of %d bytes", verb, name, n)
	}
	if code := int32(binary.NativeEndian.Uint32(answer[unix.SizeofNlMsghdr:])); code != 0 {
		return fmt.Errorf("%s %s: %w", verb, name, unix.Errno(-code))
	}
	return nil
}
