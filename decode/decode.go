// Package decode turns frames into pack status, and pack status into frames,
// by a compiled mapping.
//
// A [Decoder] follows the frames of one source. A frame that cannot be read
// leaves the status untouched and is counted with its reason; a frame that the
// mapping does not know is counted with its last bytes. Nothing is clamped,
// and what is not known stays absent.
package decode
