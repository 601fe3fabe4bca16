package finding

// Error stops a procedure: a finding so grave that going on would measure
// nothing or risk something.
type Error struct{ Finding Finding }

func (e *Error) Error() string {
	return string(e.Finding.Name) + ": " + e.Finding.Evidence + "; " + e.Finding.ToTell
}
