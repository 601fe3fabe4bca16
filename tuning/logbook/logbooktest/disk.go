// Package logbooktest has a file system in memory for tests of what keeps records. It knows what was synced, so that a
// power cut can be played: Crash gives the disk as the next start of the computer would find it, Kill as the next
// start of the program would. Fault makes operations fail.
//
//	disk := logbooktest.NewDisk("runs")
//	writer, err := logbook.Create(disk, "runs/1", header, wall)
//	after := disk.Crash(nil)
//	record, recovery, err := logbook.Open(after, "runs/1")
//
// The model is stricter than most disks: a file's content counts only once it was synced, a name only once its folder
// was. It has no permissions, links or sizes of blocks. A Disk may be used by several goroutines.
package logbooktest

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"path"
	"slices"
	"strings"
	"sync"
	"time"

	"trunnion/tuning/logbook"
)

// Op is one call to the disk.
type Op struct {
	Number int    // from 0, over all operations
	Name   string // make folder, create, open, append to, read, write, cut, sync, sync folder, rename, remove, list, lock
	Path   string
	Bytes  int // of a write
}

// Fault decides how an operation fares: nil lets it through. Of a failed write, the first done bytes arrive all the
// same. It is called with the disk locked and must not use it.
type Fault func(Op) (done int, err error)

// ErrShort from a Fault makes a write return fewer bytes than it was given, and no error.
var ErrShort = errors.New("short write")

// Disk is a file system in memory. It implements logbook.FS.
type Disk struct {
	// PID and Host are what its locks say. Set them, and Fault, before use.
	PID   int
	Host  string
	Fault Fault

	mu    sync.Mutex
	ops   int
	names map[string]*node // as the running system sees them
	kept  map[string]*node // as the disk has them
	moves []move           // name changes not kept yet, in order
}

// node is a file or a folder.
type node struct {
	folder bool
	data   []byte // as the running system sees it
	kept   []byte // as the disk has it
	edits  []edit // from kept to data
	holder *logbook.Holder
}

// edit is an unsynced change of a file: append data, or cut to size where data is nil.
type edit struct {
	data []byte
	size int
}

// move is an unsynced change of names: node gets a name, or none; from loses its name.
type move struct {
	from, to string // empty for none
	node     *node
}

// NewDisk returns a disk with some folders, each of whose parents is listed before or is the root.
func NewDisk(folders ...string) *Disk {
	d := &Disk{PID: 1, Host: "memory", names: map[string]*node{}, kept: map[string]*node{}}
	for _, f := range append([]string{".", "/"}, folders...) {
		d.names[f] = &node{folder: true}
		d.kept[f] = d.names[f]
	}
	return d
}

// Ops is how many operations there were.
func (d *Disk) Ops() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.ops
}

// begin counts an operation and asks Fault; the caller holds mu.
func (d *Disk) begin(name, path string, bytes int) (int, error) {
	op := Op{d.ops, name, path, bytes}
	d.ops++
	if d.Fault == nil {
		return 0, nil
	}
	return d.Fault(op)
}

// MakeDir implements logbook.FS.
func (d *Disk) MakeDir(name string) error {
	_, err := d.make("make folder", name, true)
	return err
}

// Create implements logbook.FS.
func (d *Disk) Create(name string) (logbook.File, error) {
	n, err := d.make("create", name, false)
	if err != nil {
		return nil, err
	}
	return &file{d, n, name}, nil
}

func (d *Disk) make(op, name string, folder bool) (*node, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	name = path.Clean(name)
	if _, err := d.begin(op, name, 0); err != nil {
		return nil, err
	}
	if d.names[name] != nil {
		return nil, fs.ErrExist
	}
	if parent := d.names[path.Dir(name)]; parent == nil || !parent.folder {
		return nil, fs.ErrNotExist
	}
	n := &node{folder: folder}
	d.names[name] = n
	d.moves = append(d.moves, move{to: name, node: n})
	return n, nil
}

func (d *Disk) find(op, name string) (*node, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	name = path.Clean(name)
	if _, err := d.begin(op, name, 0); err != nil {
		return nil, err
	}
	n := d.names[name]
	if n == nil || n.folder {
		return nil, fs.ErrNotExist
	}
	return n, nil
}

// OpenAppend implements logbook.FS.
func (d *Disk) OpenAppend(name string) (logbook.File, error) {
	n, err := d.find("append to", name)
	if err != nil {
		return nil, err
	}
	return &file{d, n, name}, nil
}

// Open implements logbook.FS.
func (d *Disk) Open(name string) (logbook.Source, error) {
	n, err := d.find("open", name)
	if err != nil {
		return nil, err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	return &source{d, n, name, int64(len(n.data))}, nil
}

// Rename implements logbook.FS.
func (d *Disk) Rename(from, to string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	from, to = path.Clean(from), path.Clean(to)
	if _, err := d.begin("rename", to, 0); err != nil {
		return err
	}
	n := d.names[from]
	if n == nil {
		return fs.ErrNotExist
	}
	delete(d.names, from)
	d.names[to] = n
	d.moves = append(d.moves, move{from, to, n})
	return nil
}

// Remove implements logbook.FS.
func (d *Disk) Remove(name string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	name = path.Clean(name)
	if _, err := d.begin("remove", name, 0); err != nil {
		return err
	}
	if d.names[name] == nil {
		return fs.ErrNotExist
	}
	delete(d.names, name)
	d.moves = append(d.moves, move{from: name})
	return nil
}

// Names implements logbook.FS.
func (d *Disk) Names(dir string) ([]string, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	dir = path.Clean(dir)
	if _, err := d.begin("list", dir, 0); err != nil {
		return nil, err
	}
	if n := d.names[dir]; n == nil || !n.folder {
		return nil, fs.ErrNotExist
	}
	var names []string
	for name := range d.names {
		if name != dir && path.Dir(name) == dir {
			names = append(names, path.Base(name))
		}
	}
	slices.Sort(names)
	return names, nil
}

// SyncDir implements logbook.FS.
func (d *Disk) SyncDir(dir string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	dir = path.Clean(dir)
	if _, err := d.begin("sync folder", dir, 0); err != nil {
		return err
	}
	d.moves = slices.DeleteFunc(d.moves, func(m move) bool {
		if m.folder() != dir {
			return false
		}
		m.apply(d.kept)
		return true
	})
	return nil
}

// folder is where a change of names happens.
func (m move) folder() string {
	if m.to == "" {
		return path.Dir(m.from)
	}
	return path.Dir(m.to)
}

func (m move) apply(names map[string]*node) {
	if m.from != "" {
		delete(names, m.from)
	}
	if m.to != "" {
		names[m.to] = m.node
	}
}

// Lock implements logbook.FS.
func (d *Disk) Lock(name string, since time.Time) (io.Closer, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	name = path.Clean(name)
	if _, err := d.begin("lock", name, 0); err != nil {
		return nil, err
	}
	n := d.names[name]
	if n == nil {
		n = &node{}
		d.names[name] = n
		d.moves = append(d.moves, move{to: name, node: n})
	}
	if n.holder != nil {
		return nil, &logbook.HeldError{Path: name, Holder: *n.holder}
	}
	n.holder = &logbook.Holder{PID: d.PID, Host: d.Host, Since: since}
	return unlock{d, n}, nil
}

type unlock struct {
	d *Disk
	n *node
}

func (u unlock) Close() error {
	u.d.mu.Lock()
	defer u.d.mu.Unlock()
	u.n.holder = nil
	return nil
}

// Put makes a file with a content, on the disk, or changes it.
func (d *Disk) Put(name string, data []byte) {
	d.mu.Lock()
	defer d.mu.Unlock()
	n := &node{data: slices.Clone(data), kept: slices.Clone(data)}
	d.names[path.Clean(name)] = n
	d.kept[path.Clean(name)] = n
}

// Get returns the content of a file, nil if there is none.
func (d *Disk) Get(name string) []byte {
	d.mu.Lock()
	defer d.mu.Unlock()
	n := d.names[path.Clean(name)]
	if n == nil {
		return nil
	}
	return slices.Clone(n.data)
}

func (d *Disk) String() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	var b strings.Builder
	for _, name := range sortedNames(d.names) {
		fmt.Fprintf(&b, "%s %d\n", name, len(d.names[name].data))
	}
	return b.String()
}
