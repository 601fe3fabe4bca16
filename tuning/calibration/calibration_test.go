package calibration_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"os"
	"path"
	"path/filepath"
	"reflect"
	"testing"

	"github.com/invopop/jsonschema"
	validator "github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"trunnion/tuning/calibration"
)

var update = flag.Bool("update", false, "rewrite the schema")

// generated is the schema of the document as the types have it.
func generated(t *testing.T) []byte {
	t.Helper()
	r := jsonschema.Reflector{AllowAdditionalProperties: true, Namer: func(t reflect.Type) string {
		if t.Name() == "" {
			return "" // a slice or pointer stays in line
		}
		return path.Base(t.PkgPath()) + t.Name() // several packages have a Result
	}}
	s := r.Reflect(&calibration.Document{})
	s.ID = "trunnion:calibration:1"
	s.Title = "Trunnion calibration, format 1"
	s.Description = "Results of all tasks of all axes of a rig. Units stand in the fields' names; value and standard_error of an estimate are in the unit of the field that holds them. Within a format fields are only added."
	text, err := json.MarshalIndent(s, "", "  ")
	require.NoError(t, err)
	return append(text, '\n')
}

// The schema is a contract: it changes only together with the types, on
// purpose.
func TestSchemaIsThatOfTheTypes(t *testing.T) {
	want := generated(t)
	if *update {
		require.NoError(t, os.WriteFile("schema.json", want, 0o644))
	}
	assert.Equal(t, string(want), string(calibration.Schema), "the document's shape changed: only ever add fields within a format, then rewrite with -update")
}

func compiled(t *testing.T) *validator.Schema {
	t.Helper()
	doc, err := validator.UnmarshalJSON(bytes.NewReader(calibration.Schema))
	require.NoError(t, err)
	c := validator.NewCompiler()
	require.NoError(t, c.AddResource("schema.json", doc))
	s, err := c.Compile("schema.json")
	require.NoError(t, err)
	return s
}

// The golden document is that of a run of the demo; it must stay readable for
// ever, and go through reading and writing unchanged.
func TestGoldenDocument(t *testing.T) {
	text, err := os.ReadFile(filepath.Join("testdata", "golden.json"))
	require.NoError(t, err)
	value, err := validator.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	require.NoError(t, compiled(t).Validate(value))
	d, err := calibration.Decode(text)
	require.NoError(t, err)
	assert.NotEmpty(t, d.Axes)
	again, err := d.Encode()
	require.NoError(t, err)
	assert.Equal(t, string(text), string(again))
}

func TestSchemaRefusesWhatIsNone(t *testing.T) {
	s := compiled(t)
	for _, text := range []string{`{}`, `{"format":"one"}`, `[]`, `{"format":1,"kind":"trunnion calibration","rig":"x","rig_hash":"","software":"","axes":[{"name":3}]}`} {
		value, err := validator.UnmarshalJSON(bytes.NewReader([]byte(text)))
		require.NoError(t, err)
		assert.Error(t, s.Validate(value), text)
	}
}

func TestDecodeSaysWhatIsWrong(t *testing.T) {
	for _, text := range []string{``, `{`, `{}`, `{"kind":"trunnion calibration","format":0}`, `{"kind":"trunnion calibration","format":2}`, `{"kind":"something","format":1}`} {
		_, err := calibration.Decode([]byte(text))
		var not *calibration.NotCalibration
		assert.ErrorAs(t, err, &not, text)
	}
}
