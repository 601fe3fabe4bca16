// Package calibration holds what a calibration is: the results of all tasks of
// all axes, as one JSON document with a schema.
//
// The document is a contract: Format names its version, a golden file freezes
// its shape, schema.json describes it, and within a version fields are only
// added. Numbers carry their unit in the field's name and, where they are
// estimates, their standard error.
package calibration

import (
	_ "embed" // for the schema
	"encoding/json"
	"fmt"

	"trunnion/tuning/check"
	"trunnion/tuning/curve"
	"trunnion/tuning/deadband"
	"trunnion/tuning/finding"
	"trunnion/tuning/gains"
	"trunnion/tuning/proving"
	"trunnion/tuning/step"
	"trunnion/tuning/units"
	"trunnion/tuning/variator"
)

// Format is the version of the document that this program writes and reads.
const Format = 1

// Schema is the JSON Schema (draft 2020-12) of the document.
//
//go:embed schema.json
var Schema []byte

// Document is a calibration.
type Document struct {
	Format   int    `json:"format"`
	Kind     string `json:"kind"` // always "trunnion calibration"
	Rig      string `json:"rig"`
	RigHash  string `json:"rig_hash"`
	Software string `json:"software"`
	Axes     []Axis `json:"axes"`
}

// kind marks the document among other JSON files.
const kind = "trunnion calibration"

// New is a document without axes.
func New(rig, rigHash, software string) Document {
	return Document{Format: Format, Kind: kind, Rig: rig, RigHash: rigHash, Software: software, Axes: []Axis{}}
}

// Axis is the calibration of one axis; a task not done is absent.
type Axis struct {
	Name     string           `json:"name"`
	Check    *check.Result    `json:"check,omitempty"`
	DeadBand *deadband.Result `json:"dead_band,omitempty"`
	Curve    *curve.Result    `json:"curve,omitempty"`
	Fit      *Fit             `json:"fit,omitempty"`
	Step     *step.Result     `json:"step,omitempty"`
	Gains    *gains.Result    `json:"gains,omitempty"`
	Prove    *proving.Result  `json:"prove,omitempty"`
}

// Fit is the fitted curve with its inverse table.
type Fit struct {
	Model    variator.Model    `json:"model"`
	Table    variator.Table    `json:"table"`
	Neutral  units.Pulse       `json:"neutral_us"`        // of the dead-band search, which the table's user parks at
	FitError float64           `json:"fit_error_percent"` // leave-one-out error, percent of the largest measured ratio
	Findings []finding.Finding `json:"findings"`
}

// Findings lists the findings of all tasks of an axis, in bench order.
func (a Axis) Findings() []finding.Finding {
	var all []finding.Finding
	if a.Check != nil {
		all = append(all, a.Check.Findings...)
	}
	if a.DeadBand != nil {
		all = append(all, a.DeadBand.Findings...)
	}
	if a.Fit != nil {
		all = append(all, a.Fit.Findings...)
	}
	if a.Step != nil {
		all = append(all, a.Step.Findings...)
	}
	if a.Prove != nil {
		all = append(all, a.Prove.Findings...)
	}
	return all
}

// Encode writes the document as indented JSON with a final newline.
func (d Document) Encode() ([]byte, error) {
	text, err := json.MarshalIndent(d, "", "  ")
	if err != nil {
		return nil, fmt.Errorf("calibration: %w", err)
	}
	return append(text, '\n'), nil
}

// NotCalibration says that a text is no calibration that can be read.
type NotCalibration struct{ Reason string }

func (e *NotCalibration) Error() string {
	return "this is no calibration that can be read: " + e.Reason + "; name a calibration.json that a run of this program wrote"
}

// Decode reads a document. A newer format is refused; unknown fields of the same
// format are passed over, since fields may be added.
func Decode(text []byte) (Document, error) {
	var d Document
	if err := json.Unmarshal(text, &d); err != nil {
		return d, &NotCalibration{err.Error()}
	}
	switch {
	case d.Kind != kind:
		return d, &NotCalibration{fmt.Sprintf("its kind is %q", d.Kind)}
	case d.Format < 1:
		return d, &NotCalibration{fmt.Sprintf("its format is %d", d.Format)}
	case d.Format > Format:
		return d, &NotCalibration{fmt.Sprintf("its format %d is newer than %d, which this program knows", d.Format, Format)}
	}
	return d, nil
}
