package physics

import "testing"

func benchmarkRig(b *testing.B, name string) {
	m := fixture(b, name)
	for j := range m.Joints {
		m.Joints[j].Endless = true
	}
	p := build(b, m, 1)
	for i := range m.Axes {
		p.SetPulse(i, 1700)
	}
	p.SetDrive(1)
	for b.Loop() {
		p.Advance(1_000_000)
	}
	b.ReportMetric(float64(b.N*len(m.Axes))/b.Elapsed().Seconds(), "axis-s/s")
}

// The figure of merit is seconds of one axis a second of one core.
func BenchmarkTrolley(b *testing.B) { benchmarkRig(b, "trolley") }
func BenchmarkLift(b *testing.B)    { benchmarkRig(b, "lift") }
