package rig_test

import (
	"encoding/json"
	"errors"
	"flag"
	"maps"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/pelletier/go-toml/v2"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"trunnion/tuning/rig"
)

var update = flag.Bool("update", false, "rewrite the golden files from what is seen")

func testdata(t testing.TB, name string) []byte {
	t.Helper()
	text, err := os.ReadFile(filepath.Join("testdata", name))
	require.NoError(t, err)
	return text
}

func full(t testing.TB) rig.Rig {
	t.Helper()
	r, err := rig.Parse("full.toml", testdata(t, "full.toml"))
	require.NoError(t, err)
	return r
}

// The JSON is what records hold, so it must not change unnoticed.
func TestFullDescriptionBecomesTheGoldenValue(t *testing.T) {
	got, err := json.MarshalIndent(full(t), "", "  ")
	require.NoError(t, err)
	got = append(got, '\n')
	if *update {
		require.NoError(t, os.WriteFile("testdata/full.json", got, 0o644))
	}
	assert.Equal(t, string(testdata(t, "full.json")), string(got))

	var back rig.Rig
	require.NoError(t, json.Unmarshal(got, &back))
	assert.Equal(t, full(t), back)
	assert.Equal(t, full(t).Hash(), back.Hash())
}

func TestFullDescriptionUsesEveryKey(t *testing.T) {
	values := map[string]any{}
	require.NoError(t, toml.Unmarshal(testdata(t, "full.toml"), &values))
	used := map[string]bool{}
	gather(used, "", values)
	for _, key := range rig.Keys() {
		assert.True(t, used[key.Name], "%s is not in testdata/full.toml", key.Name)
		assert.NotEmpty(t, key.Meaning, key.Name)
		delete(used, key.Name)
	}
	maps.DeleteFunc(used, func(key string, _ bool) bool { return strings.HasPrefix(key, "joint.per_turn.") })
	assert.Empty(t, used, "keys that Keys does not list")
}

func gather(into map[string]bool, under string, values map[string]any) {
	for key, value := range values {
		name := strings.TrimPrefix(under+"."+key, ".")
		into[name] = true
		switch v := value.(type) {
		case map[string]any:
			gather(into, name, v)
		case []any:
			for _, item := range v {
				if m, ok := item.(map[string]any); ok {
					gather(into, name, m)
				}
			}
		}
	}
}

// The examples stand in remedies, so what they say must itself be right.
func TestExamplesOfTheKeysMakeADescription(t *testing.T) {
	var b strings.Builder
	var counter int
	for _, key := range rig.Keys() {
		last := key.Name[strings.LastIndex(key.Name, ".")+1:]
		switch {
		case strings.HasPrefix(key.Name, "joint.travel."):
			continue // inside the example of joint.travel
		case key.Name == "axis" || key.Name == "joint":
			b.WriteString("[[" + key.Name + "]]\n")
		case key.Example == "":
			b.WriteString("[" + key.Name + "]\n")
		default:
			b.WriteString(last + " = " + key.Example + "\n")
			if last == "counter" {
				counter++
			}
		}
	}
	r, err := rig.Parse("examples", []byte(b.String()))
	require.NoError(t, err, "%s", b.String())
	assert.Equal(t, 3, counter)
	assert.Equal(t, 0.4, r.Drive.ChangeoverSeconds)
}

func TestDefaultsAreFilledIn(t *testing.T) {
	r := full(t)
	left, right := r.Axes[1], r.Axes[2]
	assert.EqualValues(t, 1500, left.Pulse.Middle)
	assert.Zero(t, left.Pulse.SlewPerSec)
	assert.Equal(t, 1.0, left.Variator.WheelTolerancePercent)
	assert.Equal(t, rig.Variator{Contacts: rig.Unknown}, right.Variator)
	assert.Equal(t, 0.5, r.Joints[0].Tolerance)

	text, _, found := strings.Cut(string(testdata(t, "full.toml")), "[goals]")
	require.True(t, found)
	r, err := rig.Parse("no goals", []byte(text))
	require.NoError(t, err)
	assert.Equal(t, rig.Goals{CurvePercent: 0.5, Edge: 1, Ms: 1.6}, r.Goals)
}

func TestHashIsOfTheContentNotTheText(t *testing.T) {
	text := string(testdata(t, "full.toml"))
	same := strings.NewReplacer("servo = 0\nworm = true", "worm = true # held\nservo   = 0", "= 3000", "= 3_000.0", "\n", "\r\n").Replace(text)
	require.NotEqual(t, text, same)
	r, err := rig.Parse("same", []byte("\xef\xbb\xbf"+same))
	require.NoError(t, err)
	assert.Equal(t, full(t).Hash(), r.Hash())
	assert.Regexp(t, "^[0-9a-f]{64}$", r.Hash())

	other, err := rig.Parse("other", []byte(strings.Replace(text, "= 3000", "= 3001", 1)))
	require.NoError(t, err)
	assert.NotEqual(t, full(t).Hash(), other.Hash())
}

func TestErrorsCanBeTakenApart(t *testing.T) {
	_, err := rig.Parse("empty.toml", nil)
	var all *rig.Errors
	require.True(t, errors.As(err, &all))
	var one *rig.Error
	require.True(t, errors.As(err, &one))
	assert.Equal(t, &all.All[0], one)
	assert.Equal(t, rig.Error{File: "empty.toml", Line: 1, Column: 1, Key: "format", What: "is missing",
		Remedy: "add format = 1: format of this description"}, *one)
	assert.Len(t, all.All, 5, "format, name, drive, axis, joint")
}

func TestTooLongAFileIsRefusedBeforeItIsRead(t *testing.T) {
	long := []byte(strings.Repeat("# long\n", 10000) + "not toml")
	_, err := rig.Parse("long.toml", long)
	var one *rig.Error
	require.True(t, errors.As(err, &one))
	assert.Contains(t, one.What, "70008 bytes")
}

func TestRecordOfANewerProgramIsNotMisread(t *testing.T) {
	var s rig.Sensor
	assert.Error(t, json.Unmarshal([]byte(`{"counter":1,"kind":"optical","counts_per_turn":4}`), &s))
	assert.Error(t, json.Unmarshal([]byte(`{"counter":"one"}`), &s))
	assert.Zero(t, s)
}

func TestAxesByNameAndWhatTheyMove(t *testing.T) {
	r := full(t)
	i, ok := r.AxisNamed("right drum")
	require.True(t, ok)
	assert.Equal(t, 2, i)
	assert.Equal(t, []int{1, 2}, r.Moves(i))
	_, ok = r.AxisNamed("hoist")
	assert.False(t, ok)
}
