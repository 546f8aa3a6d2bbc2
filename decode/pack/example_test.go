package pack_test

import (
	"fmt"

	"packlink/decode/pack"
)

func ExampleStatus() {
	const now = 1_700_000_000_000_000_000
	s := pack.Status{Time: now, Now: now + 200_000_000, Source: "shed", Mapping: "bench"}
	s.SetNumber(pack.Voltage, pack.Decimal{Coef: 5280, Exp: -2}, now)
	s.SetNumber(pack.Current, pack.Decimal{Coef: -105, Exp: -1}, now)
	for i, millivolts := range []int64{3301, 3299} {
		s.PutElement(pack.Cells, i, pack.Value{Coef: millivolts, Exp: -3, At: now, Trust: pack.Known})
	}
	s.Derive()
	fmt.Println(string(s.AppendJSON(nil)))
	// Output:
	// {"time":"2023-11-14T22:13:20Z","source":"shed","mapping":"bench","voltage_v":52.8,"current_a":-10.5,"power_w":-554.4,"cells_v":[3.301,3.299],"cell_max_v":3.301,"cell_max_at":1,"cell_min_v":3.299,"cell_min_at":2,"cell_spread_v":0.002,"age_s":0.2}
}
