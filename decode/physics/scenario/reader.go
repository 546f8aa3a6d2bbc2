package scenario

import (
	"regexp"
	"strconv"

	"packlink/decode/pack"
	"packlink/mapping/document"
)

// reader reads the keys of a map, numbers with a fraction among them.
type reader struct{ *document.Object }

var plainNumber = regexp.MustCompile(`^-?(0|[1-9][0-9]*)(\.[0-9]+)?$`)

// number reads a number between least and most into value, which stays as it is
// if the key is not given.
func (r *reader) number(key string, value *float64, least, most float64) {
	n := r.Get(key)
	if n == nil {
		return
	}
	d, err := pack.ParseDecimal(n.Text)
	if n.Kind != document.Scalar || n.Quoted || err != nil || !plainNumber.MatchString(n.Text) {
		r.File.Report(n, document.RuleWrongType, "%q must be a plain number, such as 27.4 or -10", key)
		return
	}
	if v := d.Float64(); v >= least && v <= most {
		*value = v
		return
	}
	r.File.Report(n, RuleRange, "%q must lie between %s and %s; this is %s", key, shown(least), shown(most), n.Text)
}

// needNumber reads a number that must be given.
func (r *reader) needNumber(key string, value *float64, least, most float64) {
	if r.Need(key) != nil {
		r.number(key, value, least, most)
	}
}

func shown(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// percent reads a number in percent into a value that is a part of 1.
func (r *reader) percent(key string, value *float64, least, most float64) {
	read := *value * 100
	if r.number(key, &read, least, most); r.Node.Get(key) != nil {
		*value = read / 100
	}
}

// inner reads the map of a key, if it is given.
func (r *reader) inner(key, what string, read func(r *reader)) {
	if n := r.Get(key); n != nil {
		if o := r.File.Object(n, what); o != nil {
			in := &reader{o}
			read(in)
			in.Done()
		}
	}
}

// each reads every map of a key's list.
func (r *reader) each(key, what string, read func(r *reader)) {
	for _, n := range r.List(key) {
		if o := r.File.Object(n, what); o != nil {
			in := &reader{o}
			read(in)
			in.Done()
		}
	}
}
