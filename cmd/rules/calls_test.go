package rules

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// bannedCalls are selector expressions that must not occur in non-test files
// of a tree, with what to use instead.
var bannedCalls = map[string]map[string]string{
	"trunnion/tuning/": {
		"time.Now":   "take the controller's time from a sample, or a clock as an argument",
		"time.Sleep": "watch the bench for a span of the controller's time",
		"time.After": "watch the bench for a span of the controller's time",
		"fmt.Print":  "report a note or return a value", "fmt.Printf": "report a note or return a value", "fmt.Println": "report a note or return a value",
		"rand.Float64": "take a *rand.Rand as an argument", "rand.NormFloat64": "take a *rand.Rand as an argument", "rand.IntN": "take a *rand.Rand as an argument",
	},
	"trunnion/link/virtual/physics": {
		"time.Now": "the plant has its own clock", "rand.Float64": "draw from the plant's own seed",
	},
	"trunnion/tui": {
		"os.ReadFile": "files come in through the session", "os.WriteFile": "files go out through the session",
	},
}

func TestNobodyCallsWhatTheyMayNot(t *testing.T) {
	files := token.NewFileSet()
	for _, p := range packages(t) {
		for tree, calls := range bannedCalls {
			if !strings.HasPrefix(p.ImportPath+"/", tree) && !strings.HasPrefix(p.ImportPath, tree) {
				continue
			}
			for _, name := range p.GoFiles {
				file, err := parser.ParseFile(files, filepath.Join(p.Dir, name), nil, 0)
				require.NoError(t, err)
				ast.Inspect(file, func(n ast.Node) bool {
					selector, ok := n.(*ast.SelectorExpr)
					if !ok {
						return true
					}
					if x, ok := selector.X.(*ast.Ident); ok && x.Obj == nil {
						call := x.Name + "." + selector.Sel.Name
						if instead, banned := calls[call]; banned {
							t.Errorf("%s: %s is banned here: %s", files.Position(n.Pos()), call, instead)
						}
					}
					return true
				})
			}
		}
	}
}
