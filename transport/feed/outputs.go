package feed

import "packlink/decode/pack"

// OutputHealth is how one output on a bus is doing.
type OutputHealth struct {
	Output string // its endpoint
	Unfit  uint64 // frames that were not sent since the start, or times that a register became "not available", as a value did not fit
}

// WatchOutputs lets metrics and health show the outputs as they were when a status
// was published. Call it before the first.
func (h *HTTP) WatchOutputs(outputs func() []OutputHealth) { h.outputs = outputs }

// outputReport is one output in the answer of /healthz.
type outputReport struct {
	Output string `json:"output"`
	Unfit  uint64 `json:"unfit"`
}

func outputReports(outputs []OutputHealth) (reports []outputReport) {
	for _, o := range outputs {
		reports = append(reports, outputReport(o))
	}
	return reports
}

func appendOutputs(b []byte, outputs []OutputHealth) []byte {
	if len(outputs) == 0 {
		return b
	}
	b = append(b, "# TYPE packlink_output_unfit counter\n# HELP packlink_output_unfit what an output did not write, as a value did not fit its field\n"...)
	for _, o := range outputs {
		b = appendSample(b, "packlink_output_unfit_total", labels("").with("output", o.Output), pack.Int(int64(o.Unfit)))
	}
	return b
}
