package faults

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"trunnion/tuning/bench"
	"trunnion/tuning/logbook"
)

// disks are faults of the disk in the middle of the job.
func disks(t testing.TB) []cell {
	cells := []cell{{
		fault: "file size limit reached",
		command: func(t testing.TB, b *bed, dir string) *exec.Cmd {
			// 32 blocks, of 512 or 1024 bytes by the shell: some 5 or 10 s of samples
			return exec.Command("sh", append([]string{"-c", `ulimit -f 32; exec "$0" "$@"`, binary}, job(b.path, dir)...)...)
		},
		strike:   untilAtRest,
		state:    bench.Safe,
		code:     1,
		verdicts: []string{"cut off"},
		told:     []string{"file too large", "another disk"},
	}}
	if canMount(t) {
		cells = append(cells, cell{
			fault: "disk full",
			command: func(t testing.TB, b *bed, dir string) *exec.Cmd {
				// The small disk is seen by the program and the shell only; what
				// it holds is copied out in the end.
				small := filepath.Join(filepath.Dir(dir), "small")
				require.NoError(t, os.Mkdir(small, 0o755))
				script := `mount -t tmpfs -o size=40k,nr_inodes=20 small "$1" || exit 9; shift; out=$1; shift
					"$0" "$@"; code=$?; cp -r "` + small + `/run" "$out"; exit $code`
				args := []string{"-m", "sh", "-c", script, binary, small, dir}
				if os.Getuid() != 0 {
					args = append([]string{"-r"}, args...)
				}
				return exec.Command("unshare", append(args, job(b.path, filepath.Join(small, "run"))...)...)
			},
			strike:   untilAtRest,
			state:    bench.Safe,
			code:     1,
			verdicts: []string{"cut off"},
			told:     []string{"the disk is full", "make room", "resume"},
		})
	}
	return cells
}

// canMount reports whether a small disk can be had.
func canMount(t testing.TB) bool {
	t.Helper()
	args := []string{"-m", "mount", "-t", "tmpfs", "small", t.TempDir()}
	if os.Getuid() != 0 {
		args = append([]string{"-r"}, args...)
	}
	if out, err := exec.Command("unshare", args...).CombinedOutput(); err != nil {
		t.Logf("no disk can be mounted here, so that none can be filled: %v %s", err, out)
		return false
	}
	return true
}

// untilAtRest waits for the program to end by itself and takes for the event
// the drive's last switching off, since nobody outside sees a write fail.
func untilAtRest(t testing.TB, b *bed, c *child) int64 {
	c.wait(t, 40*time.Second)
	return b.plant.since(drive)
}

// removedFolder takes the results folder away: what is printed afterwards would
// be in no record, so that the next line that must be kept is not printed, and
// the job ends.
func removedFolder(t testing.TB) {
	b, dir := newBed(t), newDir(t)
	c := run(t, job(b.path, dir)...)
	b.inMotion(t, c)
	require.NoError(t, os.RemoveAll(dir))
	before := keptLines(c.out.String())
	c.wait(t, 30*time.Second)
	b.pass(300 * time.Millisecond)
	state, _ := b.state()
	assert.Equal(t, bench.Safe, state)
	assert.Zero(t, b.plant.value(drive))
	assert.Equal(t, b.neutral(), b.plant.value(0))
	assert.Equal(t, 1, c.code)
	assert.Equal(t, before, keptLines(c.out.String()), "nothing is printed that is in no record")
	assert.Contains(t, c.errs.String(), "it is not there")
	assert.Contains(t, c.errs.String(), dir)
	report("results folder removed", "parked at the next line to be kept; "+state.String(), "nothing is left, nothing more was printed", told(c))
}

func keptLines(out string) (n int) {
	for line := range strings.Lines(out) {
		for _, kind := range kept {
			if strings.Contains(line, "  "+kind+" ") || strings.Contains(line, " "+kind+"   ") {
				n++
			}
		}
	}
	return n
}

// secondWriter tries to write a record that is being written.
func secondWriter(t testing.TB) {
	b, other, dir := newBed(t), newBed(t), newDir(t)
	c := run(t, job(b.path, dir)...)
	b.inMotion(t, c)

	again := run(t, job(other.path, dir)...)
	again.wait(t, 10*time.Second)
	assert.Equal(t, 1, again.code)
	assert.Contains(t, again.errs.String(), "exists already")
	goOn := run(t, "run", "--rig", rigFile, "--port", other.path, "--arm", "--resume", dir)
	goOn.wait(t, 10*time.Second)
	assert.Equal(t, 1, goOn.code)
	assert.Contains(t, goOn.errs.String(), "is writing this record")
	for _, s := range other.tap.sent() {
		assert.False(t, isMotion(s), "the second one moves nothing")
	}
	_, _, err := logbook.Resume(logbook.OSFS{}, dir, "a test", time.Now())
	var held *logbook.HeldError
	require.ErrorAs(t, err, &held)
	assert.Equal(t, c.cmd.Process.Pid, held.Holder.PID)

	assert.False(t, c.over(), "the first one goes on")
	c.signal(t, syscall.SIGTERM)
	c.wait(t, 5*time.Second)
	found := verdict(t, dir)
	assert.Equal(t, "sound", found)
	printedIsRecorded(t, c.out.String(), dir)
	report("second writer on the same record", "the first went on", found, told(goOn))
}

// readOnlyFolder is a place where this account may not write.
func readOnlyFolder(t testing.TB) {
	b := newBed(t)
	above := filepath.Join(t.TempDir(), "above")
	require.NoError(t, os.Mkdir(above, 0o555))
	dir := filepath.Join(above, "run")
	cmd := exec.Command(binary, job(b.path, dir)...)
	if os.Getuid() == 0 { // whom no mode keeps out
		cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
		require.NoError(t, os.Chmod(b.path, 0o666))
		for _, p := range []string{filepath.Dir(above), filepath.Dir(filepath.Dir(above))} {
			require.NoError(t, os.Chmod(p, 0o755))
		}
		description, err := os.ReadFile(rigFile)
		require.NoError(t, err)
		readable := filepath.Join(filepath.Dir(binary), "rig.toml")
		require.NoError(t, os.WriteFile(readable, description, 0o644))
		cmd.Args = append([]string{binary}, "run", "--rig", readable, "--port", b.path, "--arm", "--out", dir)
	}
	c := start(t, cmd)
	c.wait(t, 15*time.Second)
	assert.Equal(t, 1, c.code, c.errs)
	assert.Contains(t, c.errs.String(), "not allowed")
	assert.Contains(t, c.errs.String(), dir)
	b.noMotion(t)
	report("results folder read-only", "nothing: no motion was asked for", "nothing", told(c))
}
