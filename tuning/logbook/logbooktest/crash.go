package logbooktest

import (
	"math/rand/v2"
	"path"
	"slices"
	"strings"
)

// Kill returns the disk as a new process finds it after this one was killed: all that the system was handed is there,
// synced or not as it was; no lock is.
func (d *Disk) Kill() *Disk {
	d.mu.Lock()
	defer d.mu.Unlock()
	twins := map[*node]*node{nil: nil}
	twin := func(n *node) *node {
		if _, made := twins[n]; !made {
			twins[n] = &node{folder: n.folder, data: slices.Clone(n.data), kept: slices.Clone(n.kept), edits: slices.Clone(n.edits)}
		}
		return twins[n]
	}
	after := NewDisk()
	for name, n := range d.names {
		after.names[name] = twin(n)
	}
	for name, n := range d.kept {
		after.kept[name] = twin(n)
	}
	for _, m := range d.moves {
		after.moves = append(after.moves, move{m.from, m.to, twin(m.node)})
	}
	return after
}

// Crash returns the disk as it is found after the power was cut. Without rng nothing unsynced has survived; with it a
// random part has: for each folder some first changes of names, for each file some first changes of content, the last
// of them torn, and at times with noughts in the middle of what was not synced.
func (d *Disk) Crash(rng *rand.Rand) *Disk {
	d.mu.Lock()
	defer d.mu.Unlock()
	names := d.survivingNames(rng)
	after := NewDisk()
	for _, name := range sortedNames(names) {
		n := names[name]
		if parent := path.Dir(name); name != parent && names[parent] == nil {
			continue // its folder is lost
		}
		data := n.survivingData(rng)
		after.names[name] = &node{folder: n.folder, data: data, kept: slices.Clone(data)}
		after.kept[name] = after.names[name]
	}
	return after
}

func (d *Disk) survivingNames(rng *rand.Rand) map[string]*node {
	names := map[string]*node{}
	for name, n := range d.kept {
		names[name] = n
	}
	if rng == nil {
		return names
	}
	left := map[string]int{} // how many more changes survive, a folder
	for _, m := range d.moves {
		if _, drawn := left[m.folder()]; !drawn {
			left[m.folder()] = rng.IntN(4)
		}
		if left[m.folder()] > 0 {
			left[m.folder()]--
			m.apply(names)
		}
	}
	return names
}

// sortedNames puts folders before what is in them, and makes a seed give the same disk each time.
func sortedNames(names map[string]*node) []string {
	sorted := make([]string, 0, len(names))
	for name := range names {
		sorted = append(sorted, name)
	}
	slices.SortFunc(sorted, strings.Compare)
	return sorted
}

func (n *node) survivingData(rng *rand.Rand) []byte {
	data := slices.Clone(n.kept)
	if rng == nil || len(n.edits) == 0 {
		return data
	}
	whole := rng.IntN(len(n.edits) + 1)
	for _, e := range n.edits[:whole] {
		data = e.apply(data, len(e.data))
	}
	if whole < len(n.edits) && n.edits[whole].data != nil {
		e := n.edits[whole]
		data = e.apply(data, rng.IntN(len(e.data)+1))
	}
	if fresh := len(data) - len(n.kept); fresh > 0 && rng.IntN(2) == 0 {
		from := len(n.kept) + rng.IntN(fresh)
		clear(data[from:min(len(data), from+1+rng.IntN(100))])
	}
	return data
}

// apply makes the change, of an append only the first part of its bytes.
func (e edit) apply(data []byte, part int) []byte {
	if e.data == nil {
		return slices.Clone(data[:min(e.size, len(data))])
	}
	return append(data, e.data[:part]...)
}
