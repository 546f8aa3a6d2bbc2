package physics

// The stoichiometry of the modelled cell of 2.3 Ah: how full its electrodes are
// when it is full, and by how much that changes until it is empty. From the
// parameter set Prada2013 of PyBaMM.
const (
	negativeFull, negativeSpan = 0.81, 2.3 / 2.90684
	positiveFull, positiveSpan = 0.0038, 2.3 / 3.29186
)

// positive is the potential in V of the iron-phosphate electrode, filled by the
// fraction y (Afshar, Morris, Khajepour, arXiv:1709.03970).
func positive(y float64) float64 {
	return 3.4077 - float64(0.020269*y) + float64(0.5*exp(-150*y)) - float64(0.9*exp(-30*(1-y)))
}

// negative is the potential in V of the graphite electrode, filled by the
// fraction x (Chen and others, J. Electrochem. Soc. 167 (2020) 080534).
func negative(x float64) float64 {
	return float64(1.9793*exp(-39.3631*x)) + 0.2482 -
		float64(0.0909*tanh(29.8538*(x-0.1234))) -
		float64(0.04478*tanh(14.9159*(x-0.2769))) -
		float64(0.0205*tanh(30.4444*(x-0.6103)))
}

// curve is the open-circuit voltage in V by the formulas of the electrodes.
func curve(soc float64) float64 {
	spent := 1 - soc
	return positive(positiveFull+float64(positiveSpan*spent)) - negative(negativeFull-float64(negativeSpan*spent))
}

// slope is the curve's rise in V for a full charge.
func slope(soc float64) float64 {
	const h = 1e-6
	return (curve(soc+h) - curve(soc-h)) / (2 * h)
}

var emptyVolts, emptySlope, fullVolts, fullSlope = curve(0), slope(0), curve(1), slope(1)

// openCircuit is a cell's open-circuit voltage in V at a state of charge, 0
// empty and 1 full. Beyond both ends, where the formulas mean nothing, it goes
// on in a straight line.
func openCircuit(soc float64) float64 {
	switch {
	case soc < 0:
		return emptyVolts + float64(soc*emptySlope)
	case soc > 1:
		return fullVolts + float64((soc-1)*fullSlope)
	}
	return curve(soc)
}
