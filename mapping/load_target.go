package mapping

import (
	"cmp"
	"regexp"
	"strconv"
	"strings"

	"packlink/decode/pack"
	"packlink/mapping/document"
)

var targetKey = regexp.MustCompile(`^([a-z_]+)(?:\[([0-9]*)\])?$`)

// targetForm is a quantity, or a list from some element on.
var targetForm = func() document.Form {
	f := document.Form{Type: "string", Pattern: `^[a-z_]+\[[0-9]*\]$`}
	for q := range pack.Count {
		if row := q.Row(); row.Kind.List() {
			f.Choices = append(f.Choices, row.Key+"[]")
		} else {
			f.Choices = append(f.Choices, row.Key)
		}
	}
	return f
}()

// parseTargetKey splits cells_v[5] into its key and element.
func parseTargetKey(text string) (parts []string, is bool) {
	parts = targetKey.FindStringSubmatch(text)
	if parts == nil {
		return nil, false
	}
	_, is = pack.ByKey(parts[1])
	return parts, is
}

// target reads a quantity's key: voltage_v, cells_v[] or cells_v[5].
func (l *loader) target(n *document.Node) *Target {
	l.Takes(n, targetForm)
	parts, is := parseTargetKey(n.Text)
	if !is || n.Kind != document.Scalar {
		l.Report(n, RuleQuantity, "%q is no quantity; the catalogue is docs/quantities.md%s", n.Text, nearest(n.Text))
		return nil
	}
	q, _ := pack.ByKey(parts[1])
	t := &Target{Quantity: q}
	if !strings.HasSuffix(n.Text, "]") {
		return t
	}
	most := q.Row().Max
	if q.Row().Kind == pack.Word {
		most = pack.MaxText
	}
	if most == 0 {
		l.Report(n, RuleQuantity, "%s is a single value, without [ ]", parts[1])
	} else if number := cmp.Or(parts[2], "1"); number[0] == '0' || !atMost(number, most) {
		l.Report(n, RuleQuantity, "%s counts from 1 to %d", parts[1], most)
	} else {
		element, _ := strconv.Atoi(number)
		t.Element = element - 1
	}
	return t
}

func atMost(number string, most int) bool {
	n, err := strconv.Atoi(number)
	return err == nil && n <= most
}

// nearest proposes the quantity whose key takes the fewest changes of a letter
// to reach, if it is near at all; a text that begins a key is very near.
func nearest(text string) string {
	best, fewest := "", len(text)/2+1
	for q := range pack.Count {
		if n := changes(text, q.String()); n < fewest {
			best, fewest = q.String(), n
		}
	}
	if best == "" {
		return ""
	}
	return "; perhaps " + best
}

// maxNearest is the longest text that is compared with the quantities.
const maxNearest = 64

// changes is how many letters must be added, left out or replaced to make b of
// a (the Levenshtein distance).
func changes(a, b string) int {
	switch {
	case len(a) > maxNearest:
		return len(a)
	case len(a) > 2 && strings.HasPrefix(b, a):
		return 0
	}
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			replaced := diagonal
			if a[i] != b[j] {
				replaced++
			}
			diagonal = row[j+1]
			row[j+1] = min(replaced, row[j]+1, diagonal+1)
		}
	}
	return row[len(b)]
}
