package mapping

import "packlink/mapping/document"

// The rules that a mapping file obeys, beside those of package document.
const (
	RuleName     = "name"
	RuleSource   = "source"
	RuleOption   = "option"
	RuleBus      = "bus"
	RuleFraming  = "framing"
	RuleMatch    = "match"
	RuleReach    = "unreachable"
	RuleTransfer = "transfer"
	RuleTiming   = "timing"
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
	RuleWhen     = "when"
	RuleDraft    = "draft"
	RuleDerive   = "derive"
	RuleExample  = "example"
)

// Rule is a rule's identifier, as it stands behind a problem, and why there is
// such a rule.
type Rule struct{ ID, Reason string }

// Rules are all rules that a mapping file can break, from the file as a whole
// to its examples. Each has files under fixtures/mapping/bad that break it.
var Rules = []Rule{
	{document.RuleYAML, "only plain YAML is read, so that a file means what it shows and a hostile one costs little"},
	{document.RuleUnknownKey, "a key that nothing reads is a misspelt one, and its value would be lost"},
	{document.RuleMissingKey, "what a file does not say is not guessed"},
	{document.RuleWrongType, "a value that must be guessed at, such as 007 or yes, means different things to different readers"},
	{RuleName, "names stand in commands, addresses and other fields, so they are plain words"},
	{RuleSource, "a statement without a source cannot be checked"},
	{RuleOption, "an option must mean something whatever is chosen"},
	{RuleBus, "a mapping speaks of one medium, whose frames it can tell apart"},
	{RuleFraming, "a frame whose end cannot be found takes the next ones with it"},
	{RuleMatch, "a frame or a register must belong to one message"},
	{RuleReach, "a message whose every frame another one takes would never be read"},
	{RuleTransfer, "a payload of several frames is put together by the ids that its protocol uses"},
	{RuleTiming, "a message that is overdue before it is due would always be stale"},
	{RuleType, "a quantity can be read only from bits that can hold it"},
	{RuleOrder, "two readers guess the order of bytes in two ways"},
	{RuleQuantity, "a field gives one of the quantities that a status has, so that every unit is known"},
	{RuleMeaning, "a field is one thing, and everything said of it has an effect"},
	{RuleAlarm, "an alarm has a kind and a level of a closed list, and its own place among the bits"},
	{RuleScale, "a value must be exact: it must fit 62 bits, and be written back as it was read"},
	{RuleSign, "makers disagree which way current is positive, and a wrong guess charges a full pack"},
	{RuleBounds, "a field that lies outside its message would never be read"},
	{RuleOverlap, "bits that two fields write cannot be written back"},
	{RuleTwice, "of two things with one name, one would be lost"},
	{RuleLet, "a count, a part or a power of ten must come from a field that is there"},
	{RuleWhen, "a field that depends on another must be there for some value that the other can have"},
	{RuleDraft, "a message without an example is a draft: nothing shows that it is right"},
	{RuleDerive, "what a field is worked out from must be among what can be worked out, and is never read back"},
	{RuleExample, "a worked example, run both ways, is the proof that the mapping is right"},
}

// MaxLets is the most fields of a message that can be named.
const MaxLets = 64

// MaxWhen is the most raw values of a message that fields depend on.
const MaxWhen = 256

// MaxShared is the most messages that can share an id.
const MaxShared = 256

// MaxChosen is the most sets of choices that the examples of a file can hold under:
// to lint it reads the file once for each.
const MaxChosen = 64

// mostAddressBits is the greatest width of an address in a payload.
const mostAddressBits = 32

// addressKey is what a field of a payload is that holds the pack's address.
const addressKey = "address"

// otherKey stands for every raw value that a map does not name.
const otherKey = "other"

// alarmsKey is the key of an example's alarms, as in a record.
const alarmsKey = "alarms"
