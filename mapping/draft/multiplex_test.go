package draft_test

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"testing"

	"packlink/decode"
	"packlink/mapping"
	"packlink/mapping/draft"
	"packlink/transport"
)

// nested is a file of our own invention: which signals are there depends on Kind, and
// of kind 1 on Part too.
const nested = dbcHead + `BO_ 800 Modules: 8 A
 SG_ Kind M : 0|4@1+ (1,0) [0|15] "" A
 SG_ Part m1M : 4|4@1+ (1,0) [0|15] "" A
 SG_ Whole m0 : 8|16@1+ (0.1,0) [0|0] "V" A
 SG_ Low m0 : 8|16@1+ (1,0) [0|0] "mV" A
 SG_ High m2 : 24|16@1+ (1,0) [0|0] "mV" A
 SG_ Shared m1 : 40|8@1+ (1,0) [0|0] "" A
 SG_ Counter : 56|8@1+ (1,0) [0|255] "" A
BO_ 801 Plain: 8 A
 SG_ Page M : 0|8@1+ (1,0) [0|0] "" A
 SG_ First m0 : 8|8@1+ (1,0) [0|0] "" A
 SG_ Second m1 : 8|8@1+ (1,0) [0|0] "" A
SG_MUL_VAL_ 800 Part Kind 1-1;
SG_MUL_VAL_ 800 Whole Kind 0-0, 3-4;
SG_MUL_VAL_ 800 Low Part 0-1;
SG_MUL_VAL_ 800 High Part 2-2,
 7-7;
SG_MUL_VAL_ 800 Shared Kind 1-1 ;
`

// TestNestedMultiplexing holds, worked by hand, which signals the draft finds in frames.
func TestNestedMultiplexing(t *testing.T) {
	d, err := draft.DBC("nested.dbc", []byte(nested))
	if err != nil {
		t.Fatal(err)
	}
	if len(d.Lost) > 0 {
		t.Errorf("lost: %q", d.Lost)
	}
	checkLoads(t, d)
	c, err := mapping.Compile(loaded(t, d.Text))
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range []struct {
		id     uint32
		first  byte
		is     string
		fields string
	}{
		{800, 0x00, "Modules, Kind 0", "Counter=8 Whole=770"},
		{800, 0x53, "Modules, Kind 3", "Counter=8 Whole=770"},
		{800, 0x04, "Modules, Kind 4", "Counter=8 Whole=770"},
		{800, 0x01, "Modules, Kind 1, Part 0", "Counter=8 Low=770 Shared=6"},
		{800, 0x11, "Modules, Kind 1, Part 1", "Counter=8 Low=770 Shared=6"},
		{800, 0x21, "Modules, Kind 1, Part 2", "Counter=8 High=1284 Shared=6"},
		{800, 0x71, "Modules, Kind 1, Part 7", "Counter=8 High=1284 Shared=6"},
		{800, 0x31, "", ""},
		{800, 0x02, "", ""},
		{801, 0x01, "Plain, Page 1", "Second=2"},
	} {
		f := transport.Frame{Medium: transport.CAN, ID: v.id, Data: []byte{v.first, 2, 3, 4, 5, 6, 7, 8}}
		account := decode.AccountCAN(c, &f)
		fields := make(map[string]string)
		for _, s := range account.Spans {
			if s.Kind == decode.SpanField {
				fields[s.Name] = string(s.Value)
			}
		}
		got := ""
		for _, name := range slices.Sorted(maps.Keys(fields)) {
			got += fmt.Sprintf(" %s=%s", name, fields[name])
		}
		if is := strings.Join(account.Messages, "; "); is != v.is || strings.TrimSpace(got) != v.fields {
			t.Errorf("%d#%02X...: %q with %s, want %q with %s", v.id, v.first, is, got, v.is, v.fields)
		}
	}
}

// TestMultiplexingThatIsLeftOut holds that a message is left out, and why, when it is not
// clear which signals are there: none is put where it might not be. The other message
// stays.
func TestMultiplexingThatIsLeftOut(t *testing.T) {
	const sub = " SG_ Kind M : 0|4@1+ (1,0) [0|0] \"\" A\n SG_ Part m1M : 4|4@1+ (1,0) [0|0] \"\" A\n SG_ Low m0 : 8|16@1+ (1,0) [0|0] \"\" A\n"
	const two = " SG_ X M : 0|4@1+ (1,0) [0|0] \"\" A\n SG_ Y M : 4|4@1+ (1,0) [0|0] \"\" A\n SG_ P m0 : 8|8@1+ (1,0) [0|0] \"\" A\n SG_ Q m0 : 16|8@1+ (1,0) [0|0] \"\" A\n"
	for says, source := range map[string][2]string{
		"message M: Low is there at some values of a switch, and SG_MUL_VAL_ does not say of which":   {sub, "SG_MUL_VAL_ 1 Part Kind 1-1;\n"},
		"message M: Low is there at some values of a switch, and SG_MUL_VAL_ does not say of which\n": {sub, "SG_MUL_VAL_ 1 Part Kind 1-1;\nSG_MUL_VAL_ 1 Low Part;\n"},
		"line 11: SG_MUL_VAL_ is not read":                                                           {sub, "SG_MUL_VAL_ 1 Low Part;\nSG_MUL_VAL_ 1 Part Kind 1-1;\n"},
		"message M: Low depends on None, which is no switch of the message":                          {sub, "SG_MUL_VAL_ 1 Part Kind 1-1;\nSG_MUL_VAL_ 1 Low None 0-0;\n"},
		"message M: Part is there at some values of a switch, and SG_MUL_VAL_ does not say of which": {strings.ReplaceAll(sub, " M :", " :"), "SG_MUL_VAL_ 1 Low Part 0-0;\n"},
		"message M: Low depends on Low, which is no switch of the message":                           {sub, "SG_MUL_VAL_ 1 Part Kind 1-1;\nSG_MUL_VAL_ 1 Low Low 0-0;\n"},
		"message M: Low is said to depend on Part and on Kind":                                       {sub, "SG_MUL_VAL_ 1 Part Kind 1-1;\nSG_MUL_VAL_ 1 Low Part 0-0;\nSG_MUL_VAL_ 1 Low Kind 0-0;\n"},
		"message M: Kind, Part depend on one another":                                                {sub, "SG_MUL_VAL_ 1 Part Kind 1-1;\nSG_MUL_VAL_ 1 Kind Part 0-0;\nSG_MUL_VAL_ 1 Low Part 0-0;\n"},
		"message M: X and Y each say which signals are there":                                        {two, "SG_MUL_VAL_ 1 P X 0-0;\nSG_MUL_VAL_ 1 Q Y 0-0;\n"},
		"message M: the values of its switches are more than the 256 messages that can share an id":  {strings.ReplaceAll(two, "0|4", "40|9"), "SG_MUL_VAL_ 1 P X 0-0, 2-18446744073709551615;\nSG_MUL_VAL_ 1 Q X 0-256;\n"},
		"message M: its switch X has no place: it has 65 bits":                                       {strings.ReplaceAll(two, "0|4", "0|65"), "SG_MUL_VAL_ 1 P X 1-1;\nSG_MUL_VAL_ 1 Q X 0-0;\n"},
		"message M: its switch X has no place: it ends at byte 9, and the message has 8":             {strings.ReplaceAll(two, "0|4", "64|4"), "SG_MUL_VAL_ 1 P X 0-0;\nSG_MUL_VAL_ 1 Q X 0-0;\n"},
	} {
		d, err := draft.DBC("x.dbc", []byte(dbcHead+"BO_ 1 M: 8 A\n"+source[0]+"BO_ 2 N: 8 A\n SG_ S : 0|8@1+ (1,0) [0|0] \"\" A\n"+source[1]))
		if err != nil {
			t.Errorf("%s: %v", says, err)
			continue
		}
		m := loaded(t, d.Text)
		if lost := strings.Join(d.Lost, "\n") + "\n"; !strings.Contains(lost, says) || len(m.Messages) != 1 || m.Messages[0].Name != "N" {
			t.Errorf("want %q and only N; %d messages, told %q", says, len(m.Messages), lost)
		}
	}
}

// TestSwitchesThatSayLittle holds what else a switch can be: one of which nothing
// depends is a signal like any other, and values that it never has are told.
func TestSwitchesThatSayLittle(t *testing.T) {
	d, err := draft.DBC("x.dbc", []byte(dbcHead+`BO_ 1 M: 8 A
 SG_ Kind M : 0|2@1+ (1,0) [0|0] "" A
 SG_ Idle m1M : 8|4@1+ (1,0) [0|0] "" A
 SG_ P m0 : 16|8@1+ (1,0) [0|0] "" A
 SG_ Q m0 : 24|8@1+ (1,0) [0|0] "" A
SG_MUL_VAL_ 1 Q Kind 3-2;
SG_MUL_VAL_ 1 Idle Kind 1-1;
SG_MUL_VAL_ 1 P Kind 2-9;
`))
	if err != nil {
		t.Fatal(err)
	}
	m := loaded(t, d.Text)
	var names []string
	for i := range m.Messages {
		names = append(names, m.Messages[i].Name)
	}
	if !slices.Equal(names, []string{"M, Kind 1", "M, Kind 2", "M, Kind 3"}) || field(m, "M, Kind 1", "Idle") == nil || field(m, "M, Kind 3", "P") == nil {
		t.Errorf("the messages are %q\n%s", names, d.Text)
	}
	if lost := strings.Join(d.Lost, "; "); lost != "M: Kind has 2 bits and is never 4; M: Q is never there" {
		t.Errorf("told %q", lost)
	}
}
