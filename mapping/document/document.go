// Package document reads a YAML file that a person wrote and keeps the place of
// everything in it, so that every mistake can be shown where it stands: file,
// line, column and the line itself. It collects mistakes instead of stopping at
// the first.
//
// It reads the plain part of YAML 1.2: maps, lists and scalars. Anchors,
// aliases, tags, merge keys and several documents in one file are refused, and
// so is a file that is too large or nested too deep to be a person's.
package document

// Limits of a file. They bound the time and memory that a hostile one costs.
const (
	MaxBytes    = 128 << 10 // size of a file
	MaxTokens   = 20_000    // words, marks and brackets
	MaxDepth    = 16        // maps and lists inside one another
	MaxKeys     = 1000      // of a map that has one on each line
	MaxBlank    = 20        // lines without a word, one behind the other
	MaxProblems = 500       // mistakes that are listed
)

// Kind is what a node is.
type Kind uint8

// The kinds of nodes.
const (
	Scalar Kind = iota + 1
	Map
	List
)

// String is the kind as it stands in messages.
func (k Kind) String() string {
	return [...]string{"nothing", "a single value", "a map", "a list"}[k]
}

// Node is a value of the file with its place.
type Node struct {
	Kind   Kind
	Line   int    // from 1
	Column int    // from 1
	Text   string // a scalar's text, without quotes
	Quoted bool   // the scalar stood in quotes
	Items  []*Node
	Pairs  []Pair
}

// Pair is a key of a map and its value.
type Pair struct {
	Key   *Node
	Value *Node
}

// Get is the value of a key of a map, nil if it has none.
func (n *Node) Get(key string) *Node {
	for _, p := range n.Pairs {
		if p.Key.Text == key {
			return p.Value
		}
	}
	return nil
}
