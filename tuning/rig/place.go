package rig

import (
	"bytes"
	"strconv"
	"strings"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2/unstable"
)

// place is where a key stands in the text: line and column from 1, the column in characters.
type place struct{ line, column int }

// path names a value: keys and, in lists, places from 0, joined by a byte that keys do not have in practice; one that
// had it would at worst be shown at another key's place.
type path string

const pathJoint = "\x00"

func (p path) key(name string) path { return p + path(pathJoint+name) }
func (p path) item(i int) path      { return p + path(pathJoint+"#"+strconv.Itoa(i)) }

func (p path) parent() path {
	return p[:max(0, strings.LastIndex(string(p), pathJoint))]
}

// places knows where the keys of a text stand.
type places struct {
	text  []byte
	known map[path]place
	items map[path]int // how often each [[key]] has come so far
}

// placesOf indexes a text that the decoder has already accepted.
func placesOf(text []byte) *places {
	p := &places{text: text, known: map[path]place{}, items: map[path]int{}}
	var parser unstable.Parser
	parser.Reset(text)
	var under path
	for parser.NextExpression() {
		switch e := parser.Expression(); e.Kind {
		case unstable.Table:
			under = p.header(e)
		case unstable.ArrayTable:
			under = p.header(e)
			item := under.item(p.items[under])
			p.items[under]++
			p.known[item] = p.at(firstKey(e))
			under = item
		case unstable.KeyValue:
			p.pair(under, e)
		}
	}
	return p
}

// of is the place of the value, or of the nearest thing around it that has one.
func (p *places) of(where path) place {
	for {
		if found, ok := p.known[where]; ok {
			return found
		}
		if where == "" {
			return place{1, 1}
		}
		where = where.parent()
	}
}

// header walks the keys of [a.b] or [[a.b]]. A key that names a list of tables means its newest one; only the last key
// of a [[a.b]] does not.
func (p *places) header(e *unstable.Node) path {
	var under path
	for it := e.Key(); it.Next(); {
		under = under.key(string(it.Node().Data))
		p.note(under, it.Node())
		if n := p.items[under]; n > 0 && !(it.IsLast() && e.Kind == unstable.ArrayTable) {
			under = under.item(n - 1)
		}
	}
	return under
}

// pair notes the keys of key = value and those inside the value.
func (p *places) pair(under path, e *unstable.Node) {
	for it := e.Key(); it.Next(); {
		under = under.key(string(it.Node().Data))
		p.note(under, it.Node())
	}
	p.inside(under, e.Value())
}

func (p *places) inside(under path, value *unstable.Node) {
	switch value.Kind {
	case unstable.InlineTable:
		for it := value.Children(); it.Next(); {
			p.pair(under, it.Node())
		}
	case unstable.Array:
		i := 0
		for it := value.Children(); it.Next(); i++ {
			p.inside(under.item(i), it.Node())
		}
	}
}

// note keeps the first place at which a key stands.
func (p *places) note(where path, key *unstable.Node) {
	if _, ok := p.known[where]; !ok {
		p.known[where] = p.at(key)
	}
}

func (p *places) at(key *unstable.Node) place {
	before := p.text[:key.Raw.Offset]
	start := bytes.LastIndexByte(before, '\n') + 1
	return place{
		line:   bytes.Count(before, []byte{'\n'}) + 1,
		column: utf8.RuneCount(before[start:]) + 1,
	}
}

func firstKey(e *unstable.Node) *unstable.Node {
	it := e.Key()
	it.Next()
	return it.Node()
}

// inCharacters turns a line and a column in bytes into a place.
func inCharacters(text []byte, line, column int) place {
	lines := bytes.SplitAfter(text, []byte{'\n'})
	if line < 1 || line > len(lines) {
		return place{1, 1}
	}
	of := lines[line-1]
	return place{line, utf8.RuneCount(of[:min(max(column-1, 0), len(of))]) + 1}
}
