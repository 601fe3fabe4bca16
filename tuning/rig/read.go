package rig

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/pelletier/go-toml/v2"
)

// reader gathers what is wrong while a text is read.
type reader struct {
	file   string
	places *places
	found  []Error
}

func (r *reader) add(where path, key, what, remedy string) {
	at := r.places.of(where)
	r.found = append(r.found, Error{File: r.file, Line: at.line, Column: at.column, Key: key, What: what, Remedy: remedy})
}

// inOrder returns what was found in the order of the text.
func (r *reader) inOrder() []Error {
	sort.SliceStable(r.found, func(i, j int) bool {
		a, b := r.found[i], r.found[j]
		if a.Line != b.Line {
			return a.Line < b.Line
		}
		return a.Column < b.Column
	})
	return r.found
}

// longestText bounds what is read: a description of six axes with comments takes about ten thousand bytes.
const longestText = 64 << 10

// decode turns the text into plain values. What TOML itself forbids comes one at a time, since the rest cannot be told
// after it.
func decode(file string, text []byte) (map[string]any, *Error) {
	if len(text) > longestText {
		return nil, &Error{File: file, Line: 1, Column: 1,
			What:   fmt.Sprintf("the file has %d bytes, and a rig's description has at most %d", len(text), longestText),
			Remedy: "see whether this is the right file"}
	}
	values := map[string]any{}
	err := toml.Unmarshal(text, &values)
	if err == nil {
		return values, nil
	}
	wrong := &Error{File: file, Line: 1, Column: 1, What: printable(strings.TrimPrefix(err.Error(), "toml: ")),
		Remedy: "write it as TOML: key = value, one a line, text in quotes, each key and each [table] once"}
	var at *toml.DecodeError
	if errors.As(err, &at) {
		line, column := at.Position()
		where := inCharacters(text, line, column)
		wrong.Line, wrong.Column = where.line, where.column
		for _, key := range at.Key() {
			wrong.Key = strings.TrimPrefix(wrong.Key+"."+tomlKey(key), ".")
		}
	}
	return nil, wrong
}

// fields reads the values of one table by their keys. The keys asked for are the keys there are; refuseOthers reports
// the rest.
type fields struct {
	*reader
	where  path
	name   string // of the table, dotted; empty at the top
	values map[string]any
	asked  []string
}

func (t *fields) full(key string) string {
	if t.name == "" {
		return tomlKey(key)
	}
	return t.name + "." + tomlKey(key)
}

// wrong reports a mistake at a key, or where the key would stand.
func (t *fields) wrong(key, what, remedy string) {
	t.add(t.where.key(key), t.full(key), what, remedy)
}

func (t *fields) has(key string) bool {
	_, ok := t.values[key]
	return ok
}

// look returns the value of a key if it is there and of the right form. ok is false only where something is wrong.
func (t *fields) look(key string) (value any, spec Key, ok bool) {
	spec = keyNamed(t.full(key))
	t.asked = append(t.asked, key)
	value, there := t.values[key]
	switch {
	case !there && spec.Required:
		t.wrong(key, "is missing", "add "+written(spec, key)+": "+spec.Meaning)
		return nil, spec, false
	case there && !fits(spec.form, value):
		t.wrong(key, "is "+formOf(value)+", and "+spec.form.String()+" is wanted", "write "+written(spec, key)+": "+spec.Meaning)
		return nil, spec, false
	}
	return value, spec, true
}

// written is how a key is written in a file, as an example.
func written(spec Key, key string) string {
	switch {
	case spec.Example != "":
		return key + " = " + spec.Example
	case spec.form == tables:
		return "[[" + spec.Name + "]]"
	}
	return "[" + spec.Name + "]"
}

func fits(f form, value any) bool {
	switch v := value.(type) {
	case string:
		return f == text
	case int64:
		return f == whole || f == number
	case float64:
		return f == number
	case bool:
		return f == truth
	case map[string]any:
		return f == table
	case []any:
		if f != tables {
			return false
		}
		for _, item := range v {
			if _, ok := item.(map[string]any); !ok {
				return false
			}
		}
		return true
	}
	return false
}

func formOf(value any) string {
	switch value.(type) {
	case string:
		return text.String()
	case int64:
		return whole.String()
	case float64:
		return "a number with a point"
	case bool:
		return truth.String()
	case map[string]any:
		return "one table"
	case []any:
		return "a list"
	}
	return "a date or a time"
}

// word reads text that must be one of the key's choices. ok is false where something is wrong; a key that is left out
// gives the empty text.
func (t *fields) word(key string) (string, bool) {
	value, spec, ok := t.look(key)
	if !ok || value == nil {
		return "", ok
	}
	got := value.(string)
	if slices.Contains(spec.choices, got) {
		return got, true
	}
	t.wrong(key, strconv.Quote(got)+" is not known", "write one of "+quoted(spec.choices))
	return "", false
}

// label reads text that is shown to people: printable, at most so many characters, no blanks around it.
func (t *fields) label(key string, longest int) (string, bool) {
	value, spec, ok := t.look(key)
	if !ok || value == nil {
		return "", ok
	}
	got := value.(string)
	remedy := "write " + written(spec, key) + ": " + spec.Meaning
	switch {
	case strings.TrimSpace(got) == "":
		t.wrong(key, "is empty", remedy)
	case strings.ContainsFunc(got, func(c rune) bool { return !unicode.IsPrint(c) }):
		t.wrong(key, strconv.Quote(got)+" holds characters that cannot be shown", "use letters, digits, signs and plain blanks only")
	case strings.TrimSpace(got) != got:
		t.wrong(key, strconv.Quote(got)+" begins or ends with a blank", "take the blank out")
	case utf8.RuneCountInString(got) > longest:
		t.wrong(key, fmt.Sprintf("has %d characters, and the console has room for %d", utf8.RuneCountInString(got), longest), "shorten it")
	default:
		return got, true
	}
	return "", false
}

// number reads a number within the key's bounds; one that is left out gives what the key is otherwise.
func (t *fields) number(key string) (float64, bool) {
	value, spec, ok := t.look(key)
	if !ok || value == nil {
		return spec.otherwise, ok
	}
	got := asFloat(value)
	if math.IsNaN(got) || got < spec.least || got > spec.most {
		what, like := " is not between "+plain(spec.least)+" and "+plain(spec.most), " or the like: "
		if spec.least == spec.most {
			what, like = " is not "+plain(spec.least), ": "
		}
		t.wrong(key, plain(got)+what, "write "+written(spec, key)+like+spec.Meaning)
		return 0, false
	}
	return got, true
}

// whole is number for whole numbers.
func (t *fields) whole(key string) (int, bool) {
	got, ok := t.number(key)
	return int(got), ok
}

func (t *fields) truth(key string) (bool, bool) {
	value, _, ok := t.look(key)
	if !ok || value == nil {
		return false, ok
	}
	return value.(bool), true
}

// table reads [key]; nil where it is left out or wrong.
func (t *fields) table(key string) (*fields, bool) {
	value, _, ok := t.look(key)
	if !ok || value == nil {
		return nil, ok
	}
	return &fields{reader: t.reader, where: t.where.key(key), name: t.full(key), values: value.(map[string]any)}, true
}

// tables reads every [[key]].
func (t *fields) tables(key string) []*fields {
	value, _, ok := t.look(key)
	if !ok || value == nil {
		return nil
	}
	items := value.([]any)
	all := make([]*fields, len(items))
	for i := range items {
		all[i] = &fields{reader: t.reader, where: t.where.key(key).item(i), name: t.full(key), values: items[i].(map[string]any)}
	}
	return all
}

// refuseOthers reports every key that was not asked for.
func (t *fields) refuseOthers() {
	for _, key := range slices.Sorted(maps.Keys(t.values)) {
		if slices.Contains(t.asked, key) {
			continue
		}
		remedy := "take it out; known here are " + strings.Join(t.asked, ", ")
		if near := nearest(key, t.asked); near != "" {
			remedy = "write " + near + " if that is meant; otherwise take it out"
		}
		t.wrong(key, "is not a key of this table", remedy)
	}
}

// asFloat is the value of a TOML number.
func asFloat(value any) float64 {
	switch v := value.(type) {
	case int64:
		return float64(v)
	case float64:
		return v
	}
	return math.NaN()
}

// plain writes a number as a person would.
func plain(v float64) string {
	if math.Abs(v) < 1e9 && v == math.Trunc(v) {
		return strconv.FormatFloat(v, 'f', -1, 64)
	}
	return strconv.FormatFloat(v, 'g', 6, 64)
}

// printable takes out what would upset a terminal: the decoder's messages repeat the text as it stands.
func printable(message string) string {
	return strings.Map(func(c rune) rune {
		if !unicode.IsPrint(c) {
			return '?'
		}
		return c
	}, message)
}

// tomlKey is a name as a key: names with anything but letters, digits, - and _ are quoted.
func tomlKey(name string) string {
	bare := func(c rune) bool {
		return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '-' || c == '_'
	}
	if name != "" && strings.IndexFunc(name, func(c rune) bool { return !bare(c) }) < 0 {
		return name
	}
	return strconv.Quote(name)
}

func quoted(names []string) string {
	each := make([]string, len(names))
	for i, name := range names {
		each[i] = strconv.Quote(name)
	}
	return strings.Join(each, ", ")
}
