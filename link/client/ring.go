package client

import (
	"sort"

	"trunnion/tuning/bench"
	"trunnion/tuning/units"
)

// ring keeps the newest samples, in the order of their arrival.
type ring struct {
	samples []bench.Sample // as long as it may become
	added   int            // ever
}

func newRing(capacity int) ring { return ring{samples: make([]bench.Sample, max(1, capacity))} }

func (r *ring) add(s bench.Sample) {
	r.samples[r.added%len(r.samples)] = s
	r.added++
}

// at returns the sample that was the i-th added; it must still be kept.
func (r *ring) at(i int) *bench.Sample { return &r.samples[i%len(r.samples)] }

// oldest is the index of the oldest sample kept; added if there is none.
func (r *ring) oldest() int { return max(0, r.added-len(r.samples)) }

// newest returns the newest sample, or nil.
func (r *ring) newest() *bench.Sample {
	if r.added == 0 {
		return nil
	}
	return r.at(r.added - 1)
}

// since returns the index of the first sample not before i; added if there is
// none yet.
func (r *ring) since(i units.Instant) int {
	low := r.oldest()
	return low + sort.Search(r.added-low, func(k int) bool { return r.at(low+k).At >= i })
}

// after appends to dst the samples from index i on.
func (r *ring) after(dst []bench.Sample, i int) []bench.Sample {
	for ; i < r.added; i++ {
		dst = append(dst, *r.at(i))
	}
	return dst
}
