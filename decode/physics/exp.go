package physics

import "math"

// inverseFactorials are 1/n!, of which [exp] needs the first fourteen.
var inverseFactorials = func() (c [14]float64) {
	c[0] = 1
	for n := 1; n < len(c); n++ {
		c[n] = c[n-1] / float64(n)
	}
	return c
}()

// exp is e^x for |x| up to 700, to a few units of the last place. Unlike
// math.Exp, which is assembly on some machines, it is the same everywhere.
func exp(x float64) float64 {
	const ln2High, ln2Low = 6.93147180369123816490e-01, 1.90821492927058770002e-10 // their sum is ln 2; k*ln2High is exact
	k := math.Round(x / math.Ln2)
	r := x - float64(k*ln2High) - float64(k*ln2Low)
	sum := 0.0
	for n := len(inverseFactorials) - 1; n >= 0; n-- {
		sum = inverseFactorials[n] + float64(r*sum)
	}
	return math.Ldexp(sum, int(k))
}

// tanh is the hyperbolic tangent for |x| up to 350.
func tanh(x float64) float64 { return 1 - 2/(exp(2*float64(x))+1) }
