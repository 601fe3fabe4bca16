package conformance

import (
	"fmt"
	"strings"
)

// script is a script that was read.
type script struct {
	name   string
	needs  []field
	blocks []block
}

// block is some commands and what they bring about.
type block struct {
	line     int // of the first command, from 1
	title    string
	commands []string
	expected []string
}

// FormatError is a line of a script that cannot be understood.
type FormatError struct {
	Script string
	Line   int
	What   string
}

func (e *FormatError) Error() string {
	return fmt.Sprintf("%s:%d: %s; see README.md beside the scripts", e.Script, e.Line, e.What)
}

// read takes a script apart. Blocks are separated by empty lines, their commands
// and what is expected by ----. Its error is a *FormatError.
func read(name, text string) (script, error) {
	s := script{name: name}
	var b block
	inAnswer := false
	end := func() {
		if len(b.commands) > 0 {
			s.blocks = append(s.blocks, b)
		}
		b, inAnswer = block{}, false
	}
	for i, line := range strings.Split(text, "\n") {
		line = strings.TrimSpace(line)
		switch {
		case line == "":
			end()
		case strings.HasPrefix(line, "#"):
			b.title = strings.TrimSpace(line[1:])
		case strings.HasPrefix(line, "needs "):
			_, needs := words(line)
			s.needs = append(s.needs, needs...)
		case line == "----":
			if len(b.commands) == 0 {
				return s, &FormatError{name, i + 1, "nothing stands before ----"}
			}
			inAnswer = true
		case inAnswer:
			b.expected = append(b.expected, line)
		default:
			if b.line == 0 {
				b.line = i + 1
			}
			b.commands = append(b.commands, line)
		}
	}
	end()
	return s, nil
}
