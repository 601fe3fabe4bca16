package physics

import "math/rand/v2"

// chance is a seeded stream of random numbers that can be copied in its present
// state.
type chance struct {
	*rand.Rand
	source *rand.PCG
}

// newChance returns one of the streams of a seed.
func newChance(seed, stream uint64) chance {
	source := rand.NewPCG(seed, stream)
	return chance{rand.New(source), source}
}

func (c chance) clone() chance {
	source := *c.source
	return chance{rand.New(&source), &source}
}
