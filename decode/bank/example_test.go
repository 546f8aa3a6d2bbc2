package bank_test

import (
	"fmt"

	"packlink/decode/bank"
	"packlink/decode/pack"
)

func ExampleSum() {
	const now = 1_700_000_000_000_000_000
	packs := make([]pack.Status, 2)
	for i, deciamperes := range []int64{-100, -300} {
		s := &packs[i]
		s.Source, s.Time, s.Now, s.Fresh = "left", now, now, true
		s.SetNumber(pack.Voltage, pack.Decimal{Coef: 5281, Exp: -2}, now)
		s.SetNumber(pack.Current, pack.Decimal{Coef: deciamperes, Exp: -1}, now)
		s.SetNumber(pack.DischargeCurrentLimit, pack.Int(100), now)
		s.SetFlag(pack.DischargeAllowed, true, now)
	}
	b := bank.Sum("boathouse", pack.Decimal{}, now, packs)
	fmt.Println(string(b.AppendJSON(nil)))
	// Output:
	// {"time":"2023-11-14T22:13:20Z","bank":"boathouse","packs":2,"packs_fresh":2,"voltage_v":52.81,"current_a":-40,"discharge_current_limit_a":200,"discharge_allowed":true,"age_s":0,"shares":[{"source":"left","current_a":-10,"share_pct":25},{"source":"left","current_a":-30,"share_pct":75}]}
}
