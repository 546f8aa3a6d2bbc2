package bank

import (
	"testing"

	"packlink/decode/pack"
)

// The currents are the worked examples of STANDARDS.md, section 7.5 "Parallel
// branches (Kirchhoff)", computed there; discharge is negative here.
func TestSharesOfParallelBranches(t *testing.T) {
	for _, c := range []struct {
		name, sum string
		currents  []string
		percents  []string
	}{
		{"20, 25 and 40 mOhm at 100 A", "-100", []string{"-43.478", "-34.783", "-21.739"}, []string{"43.5", "34.8", "21.7"}},
		{"20 and 30 mOhm, 0.4 V apart, at 50 A", "-50", []string{"-38.0", "-12.0"}, []string{"76", "24"}},
		{"the same without load: 8 A circulate", "0", []string{"-8.0", "8.0"}, []string{"", ""}},
	} {
		t.Run(c.name, func(t *testing.T) {
			var packs []pack.Status
			for i, current := range c.currents {
				packs = append(packs, heard(t, "left", uint32(i+1), facts{pack.Current: current}))
			}
			b := Sum("boathouse", pack.Decimal{}, now, packs)
			expect(t, &b.Whole, facts{pack.Current: c.sum})
			for i, s := range b.Shares {
				if got := valueText(s.Percent); got != c.percents[i] || s.Address != uint32(i+1) || s.Source != "left" {
					t.Errorf("share %d: %+v has %q %%, want %q", i+1, s, got, c.percents[i])
				}
				if want := decimal(t, c.currents[i]).String(); valueText(s.Current) != want {
					t.Errorf("share %d: current %s, want %s", i+1, valueText(s.Current), want)
				}
			}
		})
	}
}

func valueText(v pack.Value) string {
	if v.Trust != pack.Known {
		return ""
	}
	return v.Decimal().String()
}

func TestShareOfASilentPackIsUnknown(t *testing.T) {
	packs := []pack.Status{heard(t, "left", 1, facts{pack.Current: "5"}), heard(t, "right", 0, facts{pack.Current: "5"})}
	silence(&packs[1])
	b := Sum("b", pack.Decimal{}, now, packs)
	if s := b.Shares[1]; s.Source != "right" || s.HasAddress || s.Current.Trust != 0 || s.Percent.Trust != 0 {
		t.Errorf("got %+v, want a source and nothing else", s)
	}
	if got := valueText(b.Shares[0].Percent); got != "100" {
		t.Errorf("the pack that is left has %q %%, want 100", got)
	}
}

func TestShareWithoutTheWholeHasNoPercentage(t *testing.T) {
	packs := []pack.Status{heard(t, "left", 1, facts{pack.Current: "5"}), heard(t, "left", 2, facts{pack.Voltage: "52"})}
	for i, s := range Sum("b", pack.Decimal{}, now, packs).Shares {
		if s.Percent.Trust != 0 {
			t.Errorf("share %d has a percentage of an unknown current: %+v", i+1, s)
		}
	}
}
