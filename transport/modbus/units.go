package modbus

import (
	"fmt"
	"sync/atomic"
	"time"
)

// The unit ids that a unit can have; 0 is the broadcast and 248 to 255 are
// reserved (MODBUS over Serial Line V1.02, section 2.2; from memory).
const (
	firstUnit = 1
	lastUnit  = 247
)

// Units is the images of all units, and answers for them. The zero value knows
// no unit. It is safe for use by many goroutines.
type Units struct {
	shown [256]atomic.Pointer[publication]
}

// publication is an image and when it was published.
type publication struct {
	image *Image
	at    time.Time
}

// Overdue is how long a published image is shown (chosen). Whoever publishes
// does so at least once a second, also when nothing changes: an image that is
// older tells that the publisher has stopped, and is not known any more.
const Overdue = 10 * time.Second

// Publish makes image the one that the unit shows from now on, in one step: a
// request sees the image before or this one, never a mixture. A nil image says
// that nothing is known of the unit any more. A unit outside 1 to 247 is refused.
func (u *Units) Publish(unit byte, image *Image) error {
	if unit < firstUnit || unit > lastUnit {
		return fmt.Errorf("modbus unit %d: a unit has an id from %d to %d", unit, firstUnit, lastUnit)
	}
	u.shown[unit].Store(&publication{image, time.Now()})
	return nil
}

// Answer appends the response to a request, at most [MaxPDU] bytes, and returns
// the longer slice. Request and response begin with the function code and must
// not overlap. To an empty request there is no response. With room for 253 more
// bytes in response it allocates nothing.
//
// A unit without an image, published never or as nil, is not known: what would
// be a sound request for another unit gets exception 0x0B, as a gateway answers
// for a device that does not. A function or quantity that no unit supports gets
// its exception 01 or 03 there too.
func (u *Units) Answer(unit byte, request, response []byte) []byte {
	return answer(u.image(unit), request, response)
}

// image is what a unit shows now, nil if that is not known.
func (u *Units) image(unit byte) *Image {
	p := u.shown[unit].Load()
	if p == nil || time.Since(p.at) > Overdue {
		return nil
	}
	return p.image
}
