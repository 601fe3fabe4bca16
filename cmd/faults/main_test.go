package faults

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// The programs under test: as it is shipped, and with the faults of the build
// tag in it.
var binary, tampered string

// rigFile describes the rig behind every port here.
var rigFile string

// atOnce is how many tests run at once: they wait for rigs at real pace.
const atOnce = "14"

func TestMain(m *testing.M) {
	flag.Parse()
	given := false
	flag.Visit(func(f *flag.Flag) { given = given || f.Name == "test.parallel" })
	if !given {
		_ = flag.Set("test.parallel", atOnce)
	}
	os.Exit(withPrograms(m))
}

func withPrograms(m *testing.M) int {
	dir, err := os.MkdirTemp("", "trunnion-faults-")
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	defer os.RemoveAll(dir)
	if err := os.Chmod(dir, 0o755); err != nil { // for a child of another account
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	binary, tampered = filepath.Join(dir, "trunnion"), filepath.Join(dir, "trunnion-tampered")
	rigFile, err = filepath.Abs("../../fixtures/rigs/trolley.toml")
	if err == nil {
		err = build(binary)
	}
	if err == nil {
		err = build(tampered, "-tags", "faults")
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	go watchForStalls()
	return m.Run()
}

// build builds the program, with the race detector if the tests have it.
func build(to string, flags ...string) error {
	args := append([]string{"build", "-o", to}, flags...)
	if raceDetector {
		args = append(args, "-race")
	}
	out, err := exec.Command("go", append(args, "trunnion/cmd/trunnion")...).CombinedOutput()
	if err != nil {
		return fmt.Errorf("go build: %w\n%s", err, out)
	}
	return nil
}

// longRun says whether campaigns of minutes may run.
func longRun() bool { return os.Getenv("TRUNNION_LONG") != "" }

// textOf is the sentence of an event.
func textOf(t testing.TB, payload json.RawMessage) string {
	t.Helper()
	var e struct {
		Text string `json:"text"`
	}
	require.NoError(t, json.Unmarshal(payload, &e))
	return e.Text
}
