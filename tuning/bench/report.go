package bench

// Kind of a note. The kinds are part of the record format: never change one,
// only add.
type Kind string

// What a note tells. Reading, Result and Found are synced to the record before
// they are shown.
const (
	Intends   Kind = "intends"   // what is about to happen, and what moves how far
	Commanded Kind = "commanded" // what the rig was told
	Seen      Kind = "seen"      // what the sensors showed
	Decided   Kind = "decided"   // what was concluded, and why
	Reading   Kind = "reading"   // a finished reading
	Result    Kind = "result"    // a finished task
	Found     Kind = "finding"   // a named mechanical fault
	Progress  Kind = "progress"  // how far a long task has come
)

// Durable reports whether a note of this kind is synced before it is shown.
func (k Kind) Durable() bool { return k == Reading || k == Result || k == Found }

// Note is one thing a procedure did, saw or decided: a sentence for the person
// and, where there is more, a value that marshals to JSON for the record.
type Note struct {
	Kind Kind
	Text string
	Data any
}

// Reporter takes the notes of a procedure, in order.
type Reporter func(Note)

// Advance is the data of a Progress note.
type Advance struct {
	Done        int     `json:"done"`
	Of          int     `json:"of"`
	SecondsLeft float64 `json:"seconds_left"`
}
