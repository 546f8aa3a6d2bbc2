package mapping

import (
	"slices"
	"strings"

	"packlink/mapping/checksum"
	"packlink/mapping/document"
	"packlink/mapping/framing"
)

// checkPart reads a check value: a CRC or a sum.
func (l *loader) checkPart(o *document.Object, p *framing.Part) {
	p.Role = framing.Check
	crc, sum := o.Get("crc"), o.Choice("sum", "plain", "negated", "inverted", "xor")
	p.Sum = checksum.Sums[sum]
	if crc != nil {
		l.crc(crc, p)
	}
	if (crc == nil) == (o.Node.Get("sum") == nil) {
		l.Report(o.Node, RuleFraming, "a check value is one thing: a crc or a sum")
	}
	p.Characters = o.Choice("of", "bytes", "characters") == "characters"
}

func (l *loader) crc(n *document.Node, p *framing.Part) {
	c := checksum.CRC{}
	if n.Kind == document.Scalar {
		l.Takes(n, document.Form{Type: "string", Choices: crcNames()})
		i := slices.IndexFunc(checksum.Catalogue, func(c checksum.CRC) bool { return c.Name == n.Text })
		if i < 0 {
			l.Report(n, RuleFraming, "there is no CRC called %q; there are %s; or give its parameters", n.Text, strings.Join(crcNames(), ", "))
			return
		}
		c = checksum.Catalogue[i]
	} else if !l.crcParameters(n, &c) {
		return
	}
	if c.Width > 8*p.Size {
		l.Report(n, RuleFraming, "the CRC has %d bits, and the part %s has %d", c.Width, p.Name, 8*p.Size)
		return
	}
	p.CRC = c.Table()
}

func (l *loader) crcParameters(n *document.Node, c *checksum.CRC) bool {
	before := l.Reports()
	o := l.Object(n, "crc")
	if o == nil {
		return false
	}
	c.Width = int(o.NeedInt("width", 8, 64))
	for _, parameter := range []struct {
		key string
		to  *uint64
	}{{"poly", &c.Poly}, {"init", &c.Init}, {"xor_out", &c.XorOut}} {
		if n := o.Need(parameter.key); n != nil {
			*parameter.to = l.raw(n, parameter.key+" of a CRC", c.Width)
		}
	}
	c.ReflectIn, c.ReflectOut = o.Flag("reflect_in"), o.Flag("reflect_out")
	o.Done()
	return l.Reports() == before
}

func crcNames() []string {
	names := make([]string, len(checksum.Catalogue))
	for i, c := range checksum.Catalogue {
		names[i] = c.Name
	}
	return names
}
