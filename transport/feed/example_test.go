package feed_test

import (
	"fmt"

	"packlink/decode/bank"
	"packlink/decode/pack"
	"packlink/transport/feed"
)

func ExampleAppendSummary() {
	const now = 1_714_564_805_000_000_000
	s := pack.Status{Fresh: true}
	s.Time = now
	s.SetNumber(pack.Voltage, pack.Decimal{Coef: 5281, Exp: -2}, now)
	s.SetNumber(pack.Current, pack.Decimal{Coef: -272, Exp: -1}, now)
	b := bank.Sum("boathouse", pack.Decimal{}, now, []pack.Status{s})
	fmt.Println(string(feed.AppendSummary(nil, b)))
	// Output:
	// 12:00:05Z  bank boathouse  52.81 V  -27.2 A  1 of 1 packs
}
