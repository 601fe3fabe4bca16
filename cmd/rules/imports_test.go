package rules

import (
	"encoding/json"
	"errors"
	"io"
	"os/exec"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// listed is what `go list -json` says of a package.
type listed struct {
	ImportPath, Dir           string
	Imports                   []string
	TestImports, XTestImports []string
	GoFiles                   []string
}

func packages(t *testing.T) []listed {
	t.Helper()
	out, err := exec.Command("go", "list", "-json", "trunnion/...").Output()
	var exit *exec.ExitError
	if errors.As(err, &exit) {
		t.Fatalf("go list: %s", exit.Stderr)
	}
	require.NoError(t, err)
	var all []listed
	for d := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p listed
		err := d.Decode(&p)
		if errors.Is(err, io.EOF) {
			return all
		}
		require.NoError(t, err)
		all = append(all, p)
	}
}

// ban says that packages matching From never import those matching To, except
// the packages in Except. A pattern is an import path, or one ending in /...
// for a tree.
type ban struct {
	From, To, Except []string
	Why              string
}

var bans = []ban{
	{From: trees("tuning"), To: trees("link", "tui", "cmd"), Why: "the trade knows neither line, screen nor program; they come to it through interfaces"},
	{From: trees("tuning"), To: []string{"github.com/charmbracelet/...", "go.bug.st/serial", "net", "net/...", "log", "log/...", "math/rand"}, Why: "tuning is pure: no terminal, no port, no log, no global randomness"},
	{From: trees("tuning"), Except: []string{"trunnion/tuning/logbook"}, To: []string{"os", "os/...", "syscall", "golang.org/x/sys/..."}, Why: "only the logbook's own file-system file touches the disk"},
	{From: ours("tuning/lsq", "tuning/variator", "tuning/process", "tuning/pid", "tuning/measure"), To: ours("tuning/check", "tuning/deadband", "tuning/curve", "tuning/step", "tuning/gains", "tuning/proving", "tuning/logbook", "tuning/session"), Why: "computation does not know the procedures that use it"},
	{From: trees("link/virtual"), To: ours("tuning/variator", "tuning/process", "tuning/pid", "tuning/lsq", "tuning/measure"), Why: "an oracle shares no judged code"},
	{From: ours("link/virtual/physics"), To: append(trees("link/wire"), ours("tuning/bench")...), Why: "the physics knows no controller"},
	{From: ours("link/wire"), To: []string{"trunnion/..."}, Except: nil, Why: "the codec stands on bench and units alone"},
	{From: trees("link"), To: trees("tui", "cmd"), Why: "the line does not know who looks at it"},
	{From: trees("link"), To: ours("tuning/session", "tuning/check", "tuning/deadband", "tuning/curve", "tuning/step", "tuning/gains", "tuning/proving", "tuning/logbook", "tuning/calibration"), Why: "the line serves procedures, it does not know them"},
	{From: trees("tui"), To: append(trees("link/port"), "go.bug.st/serial", "gonum.org/v1/gonum/..."), Why: "screens show; they neither touch ports nor compute"},
	{From: trees("cmd", "tui", "tuning", "fixtures"), To: []string{"go.bug.st/serial", "go.bug.st/serial/..."}, Why: "only link/port knows the serial library and its traps"},
	{From: trees("link"), To: []string{"go.bug.st/serial", "go.bug.st/serial/..."}, Except: ours("link/port"), Why: "only link/port knows the serial library and its traps"},
	{From: trees("cmd", "link", "tuning", "fixtures"), To: []string{"github.com/charmbracelet/..."}, Why: "only tui draws"},
	{From: trees("cmd", "link", "tui", "fixtures"), To: []string{"gonum.org/v1/gonum/..."}, Why: "only tuning computes"},
	{From: trees("fixtures"), To: trees("tuning", "link", "tui", "cmd"), Why: "fixtures are a leaf"},
	{From: trees("tuning", "link", "tui", "fixtures"), To: trees("cmd"), Why: "nobody imports the program"},
}

// allowed are the exceptions within a ban's To, by importing package.
var allowed = map[string][]string{
	"trunnion/link/wire": {"trunnion/tuning/bench", "trunnion/tuning/units", "trunnion/link/wire"},
}

func trees(folders ...string) []string {
	var list []string
	for _, f := range folders {
		list = append(list, "trunnion/"+f+"/...")
	}
	return list
}

func ours(folders ...string) []string {
	var list []string
	for _, f := range folders {
		list = append(list, "trunnion/"+f)
	}
	return list
}

func matches(path string, patterns []string) bool {
	return slices.ContainsFunc(patterns, func(p string) bool {
		if tree, ok := strings.CutSuffix(p, "/..."); ok {
			return path == tree || strings.HasPrefix(path, tree+"/")
		}
		return path == p
	})
}

func TestNobodyImportsWhatTheyMayNot(t *testing.T) {
	for _, p := range packages(t) {
		for _, b := range bans {
			if !matches(p.ImportPath, b.From) || matches(p.ImportPath, b.Except) {
				continue
			}
			for _, imported := range p.Imports {
				if matches(imported, b.To) && !slices.Contains(allowed[p.ImportPath], imported) {
					t.Errorf("%s imports %s: %s", p.ImportPath, imported, b.Why)
				}
			}
		}
	}
}

func TestTestifyStaysInTests(t *testing.T) {
	for _, p := range packages(t) {
		if strings.HasSuffix(p.ImportPath, "test") {
			continue
		}
		for _, imported := range p.Imports {
			if strings.HasPrefix(imported, "github.com/stretchr/testify") {
				t.Errorf("%s imports %s outside its tests: the program must not carry a test library", p.ImportPath, imported)
			}
		}
	}
}

// A rule that matches nothing guards nothing: every pattern of ours must name
// at least one package, or the rule has outlived what it guarded.
func TestEveryRuleGuardsSomething(t *testing.T) {
	all := packages(t)
	for _, b := range bans {
		for _, pattern := range slices.Concat(b.From, b.To, b.Except) {
			if !strings.HasPrefix(pattern, "trunnion/") {
				continue
			}
			found := slices.ContainsFunc(all, func(p listed) bool { return matches(p.ImportPath, []string{pattern}) })
			if !found {
				t.Errorf("the rule %q names %s, and there is no such package", b.Why, pattern)
			}
		}
	}
}
