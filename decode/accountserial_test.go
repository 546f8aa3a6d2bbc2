package decode_test

import (
	"strings"
	"testing"

	"packlink/decode"
	"packlink/decode/pack"
)

// TestAccountTellsWhatIsGivenWrongly gives more than one frame, and questions that
// are not the answer's.
func TestAccountTellsWhatIsGivenWrongly(t *testing.T) {
	lengths, survey := serialTable(t, "serial-lengths"), tableOf(t, surveyLine)
	for name, c := range map[string]struct {
		account *decode.Account
		want    string
	}{
		"two frames":                  {decode.AccountSerial(lengths, lineBytes(t, "AA0101585AAA0101585A"), nil), "these are 2 frames: give one of them"},
		"a length of neither message": {decode.AccountSerial(lengths, lineBytes(t, "AA0103585858 0C"), nil), "no message has these values and 3 bytes of data: kind 0x01"},
		"a damaged question":          {decode.AccountSerial(survey, lineBytes(t, "5A010101585B"), lineBytes(t, "5A01810083")), "the question before it does not hold: the part check is 83, and over these bytes it would be 82"},
		"a question to another pack":  {decode.AccountSerial(survey, lineBytes(t, "5A010101585B"), lineBytes(t, "5A02810083")), "the question before it is for charge of address 2: this is not its answer"},
	} {
		if got := strings.Join(c.account.Problems, "; "); !strings.Contains(got, c.want) {
			t.Errorf("%s: %q, want %q", name, got, c.want)
		}
	}
	right := decode.AccountSerial(survey, lineBytes(t, "5A010101585B"), lineBytes(t, "5A01810082"))
	if len(right.Problems) > 0 {
		t.Errorf("a right question: %q", right.Problems)
	}
}

// TestLengthsTellMessagesApart decodes both lengths of a kind, and one that no
// message has, of the good file of that construct.
func TestLengthsTellMessagesApart(t *testing.T) {
	d := heardInPieces(serialTable(t, "serial-lengths"), lineBytes(t, "AA810081 AA0101585A AA01025863BE AA0103585858 0C"), 3)
	if got := counted(d); got["decoded"] != 2 || got["unknown"] != 1 || got["short"]+got["long"] != 0 {
		t.Errorf("%v", got)
	}
	var s pack.Status
	if d.Status(0, second, &s); s.Value(pack.SOC).Coef != 88 || s.Value(pack.SOH).Coef != 99 {
		t.Errorf("the two messages gave %v and %v", s.Value(pack.SOC).Decimal(), s.Value(pack.SOH).Decimal())
	}
}
