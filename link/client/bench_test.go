package client

import (
	"testing"
	"time"

	"trunnion/link/linktest"
	"trunnion/tuning/bench"
)

// A second of virtual time at 100 samples a second.
func BenchmarkSynchronousSecond(b *testing.B) {
	c, err := Dial(linktest.NewScript(linktest.ScriptOptions{Sample: turning}), Options{Synchronous: true})
	if err != nil {
		b.Fatal(err)
	}
	defer c.Close()
	b.ReportAllocs()
	for b.Loop() {
		if _, err := c.Watch(background, bench.Until{Span: time.Second}); err != nil {
			b.Fatal(err)
		}
	}
}
