package mapping

import "packlink/mapping/document"

// Traced loads a file, and has the trace note what is asked of it.
func Traced(name string, data []byte, trace *document.Trace) error {
	root, file := document.Parse(name, data)
	trace.Follow(file)
	if _, err := load(root, file, nil); err != nil {
		return err
	}
	return file.Sorted().Err()
}
