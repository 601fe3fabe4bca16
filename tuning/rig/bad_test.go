package rig_test

import (
	"bytes"
	"errors"
	"os"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/tuning/rig"
)

// badCase is one case of testdata/bad.txt; the file says how it is written.
type badCase struct {
	name  string
	edits []edit
	want  []string
}

type edit struct{ out, in []string }

func badCases(t testing.TB) []badCase {
	t.Helper()
	var cases []badCase
	for _, line := range strings.Split(string(testdata(t, "bad.txt")), "\n") {
		if name, ok := strings.CutPrefix(line, "case: "); ok {
			cases = append(cases, badCase{name: name})
			continue
		}
		if line == "" || line[0] == '#' {
			continue
		}
		c, rest := &cases[len(cases)-1], line[1:]
		switch line[0] {
		case '-':
			if n := len(c.edits); n == 0 || c.edits[n-1].in != nil {
				c.edits = append(c.edits, edit{})
			}
			last := &c.edits[len(c.edits)-1]
			last.out = append(last.out, rest)
		case '+':
			if len(c.edits) == 0 {
				c.edits = []edit{{}}
			}
			last := &c.edits[len(c.edits)-1]
			last.in = append(last.in, rest)
		case '=':
			c.want = append(c.want, rest)
		default:
			t.Fatalf("bad.txt: what is %q?", line)
		}
	}
	require.NotEmpty(t, cases)
	return cases
}

// text is the description with the case's edits made.
func (c badCase) text(t testing.TB) string {
	t.Helper()
	base := "\n" + string(testdata(t, "full.toml"))
	for _, e := range c.edits {
		in := strings.Join(e.in, "\n")
		if len(e.out) == 0 {
			return in
		}
		out := "\n" + strings.Join(e.out, "\n") + "\n"
		require.Equal(t, 1, strings.Count(base, out), "%s: these lines must stand in full.toml once:%s", c.name, out)
		base = strings.Replace(base, out, "\n"+in+"\n", 1)
	}
	return base[1:]
}

func TestBadFilesGiveExactlyTheseErrors(t *testing.T) {
	cases := badCases(t)
	seen := map[string]bool{}
	for i := range cases {
		c := &cases[i]
		assert.False(t, seen[c.name], "two cases are called %s", c.name)
		seen[c.name] = true
		r, err := rig.Parse("full.toml", []byte(c.text(t)))
		require.Error(t, err, c.name)
		assert.Zero(t, r, c.name)
		got := strings.Split(err.Error(), "\n")
		if *update {
			c.want = got
			continue
		}
		assert.Equal(t, c.want, got, c.name)
	}
	if *update {
		rewriteBad(t, cases)
	}
}

// rewriteBad puts the errors that were seen after the cases, and leaves all else in the file as it is.
func rewriteBad(t *testing.T, cases []badCase) {
	var out bytes.Buffer
	next := 0
	finish := func() {
		if next > 0 {
			for _, line := range cases[next-1].want {
				out.WriteString("=" + line + "\n")
			}
			out.WriteString("\n")
		}
	}
	for _, line := range strings.Split(string(testdata(t, "bad.txt")), "\n") {
		if strings.HasPrefix(line, "case: ") {
			finish()
			next++
		}
		if strings.HasPrefix(line, "=") || line == "" && next > 0 {
			continue
		}
		out.WriteString(line + "\n")
	}
	finish()
	require.NoError(t, os.WriteFile("testdata/bad.txt", append(bytes.TrimRight(out.Bytes(), "\n"), '\n'), 0o644))
}

// A golden file says what changed, not whether it is right: here every place is held against the text itself.
func TestPlacesOfErrorsPointAtTheirKeys(t *testing.T) {
	for _, c := range badCases(t) {
		text := c.text(t)
		lines := strings.Split(text, "\n")
		_, err := rig.Parse("full.toml", []byte(text))
		var all *rig.Errors
		require.True(t, errors.As(err, &all), c.name)
		for i, e := range all.All {
			assert.NotEmpty(t, e.What, c.name)
			assert.NotEmpty(t, e.Remedy, c.name)
			require.LessOrEqual(t, e.Line, len(lines), c.name)
			require.LessOrEqual(t, e.Column, len([]rune(lines[e.Line-1]))+1, c.name)
			if i > 0 {
				before := all.All[i-1]
				assert.True(t, before.Line < e.Line || before.Line == e.Line && before.Column <= e.Column, "%s: out of order", c.name)
			}
			if strings.Contains(e.Remedy, "as TOML") {
				continue // the place of TOML's own mistakes is the decoder's
			}
			assert.True(t, pointsAt(lines, e), "%s: %v: the text there is %q", c.name, &e, lines[e.Line-1])
		}
	}
}

// pointsAt reports whether the place is that of the key, or, where the key is missing, that of a table around it.
func pointsAt(lines []string, e rig.Error) bool {
	there := string([]rune(lines[e.Line-1])[e.Column-1:])
	keys := strings.Split(e.Key, ".")
	for i := len(keys) - 1; i >= 0; i-- {
		before, _, _ := strings.Cut(keys[i], `\`) // escapes may be written in several ways
		if strings.HasPrefix(there, before) {
			return true
		}
	}
	return e.Line == 1 && e.Column == 1 && strings.HasPrefix(e.What, "is missing")
}
