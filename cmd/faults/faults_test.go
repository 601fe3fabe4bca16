package faults

import (
	"syscall"
	"testing"

	"trunnion/tuning/bench"
)

// The whole matrix. It is one test so that its table is printed when all
// subtests have ended.
func TestMatrix(t *testing.T) {
	t.Cleanup(func() { printTable(t) })
	matrix(t, signals())
	matrix(t, lines())
	matrix(t, boards())
	matrix(t, programs())
	matrix(t, disks(t))
	matrix(t, machineFaults())
	if longRun() {
		matrix(t, afterTheCheck())
	}
	for _, x := range nuisances() {
		together(t, x.fault, x.run)
	}
	for _, x := range beginnings() {
		together(t, x.fault, x.run)
	}
	together(t, "an old drive-on comes again after the stop", staleDrive)
	together(t, "encoder the wrong way round", reversedEncoder)
	together(t, "results folder removed", removedFolder)
	together(t, "results folder read-only", readOnlyFolder)
	together(t, "second writer on the same record", secondWriter)
	together(t, "second instance on the same port", secondInstance)
}

// signals are those that a person, a shell, a closed SSH session or the kernel
// send.
func signals() []cell {
	kill := func(s syscall.Signal) func(testing.TB, *bed, *child) int64 {
		return func(t testing.TB, b *bed, c *child) int64 {
			at := b.time()
			c.signal(t, s)
			return at
		}
	}
	cells := []cell{{
		fault: "SIGKILL", strike: kill(syscall.SIGKILL),
		state: bench.Stopped, cause: bench.CauseSilence, code: -1, verdicts: []string{"cut off"},
	}}
	for _, s := range []struct {
		name   string
		signal syscall.Signal
	}{{"SIGHUP", syscall.SIGHUP}, {"SIGTERM", syscall.SIGTERM}, {"SIGINT", syscall.SIGINT}, {"SIGQUIT", syscall.SIGQUIT}} {
		cells = append(cells, cell{
			fault: s.name, strike: kill(s.signal), driveWithin: 300, pulseWithin: 320,
			state: bench.Stopped, cause: bench.CauseHost, code: 1, verdicts: []string{"sound"},
			told: []string{"the rig is told to stop, the record is kept", "stopped: signal " + s.signal.String()},
		})
	}
	return cells
}
