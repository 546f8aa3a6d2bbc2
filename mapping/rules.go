package mapping

// The rules that a mapping file obeys, beside those of package document. Each
// has files under fixtures/mapping that break it and one that obeys it.
const (
	RuleName     = "name"
	RuleSource   = "source"
	RuleOption   = "option"
	RuleBus      = "bus"
	RuleMatch    = "match"
	RuleType     = "type"
	RuleOrder    = "order"
	RuleQuantity = "quantity"
	RuleMeaning  = "meaning"
	RuleAlarm    = "alarm"
	RuleScale    = "scale"
	RuleSign     = "sign"
	RuleBounds   = "bounds"
	RuleOverlap  = "overlap"
	RuleTwice    = "duplicate"
	RuleLet      = "let"
	RuleExample  = "example"
)

// MaxLets is the most fields of a message that can be named.
const MaxLets = 64
