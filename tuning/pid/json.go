package pid

import (
	"encoding/json"
	"math"
)

// finite is a number that JSON can hold: null stands for what does not exist (NaN) or has no bound (+Inf).
type finite float64

// MarshalJSON implements json.Marshaler.
func (f finite) MarshalJSON() ([]byte, error) {
	if math.IsNaN(float64(f)) || math.IsInf(float64(f), 0) {
		return []byte("null"), nil
	}
	return json.Marshal(float64(f))
}

// marginsRecord is Margins as stored. A gain or delay margin of null has no bound; a frequency of null does not exist or
// is only approached at ever higher frequencies.
type marginsRecord struct {
	Stable         bool   `json:"stable"`
	GainMargin     finite `json:"gain_margin"`
	PhaseCrossover finite `json:"phase_crossover_rad_per_s"`
	GainReduction  finite `json:"gain_reduction"`
	PhaseMargin    finite `json:"phase_margin_deg"`
	GainCrossover  finite `json:"gain_crossover_rad_per_s"`
	DelayMargin    finite `json:"delay_margin_s"`
	Ms             finite `json:"sensitivity_peak_ms"`
	MsFrequency    finite `json:"sensitivity_peak_rad_per_s"`
	Mt             finite `json:"complementary_peak_mt"`
	MtFrequency    finite `json:"complementary_peak_rad_per_s"`
}

// MarshalJSON writes the worst values, without the lists of crossings.
func (m Margins) MarshalJSON() ([]byte, error) {
	return json.Marshal(marginsRecord{
		m.Stable, finite(m.GainMargin), finite(m.PhaseCrossover), finite(m.GainReduction), finite(m.PhaseMarginDeg),
		finite(m.GainCrossover), finite(m.DelayMarginS), finite(m.Ms), finite(m.MsFrequency), finite(m.Mt), finite(m.MtFrequency),
	})
}

// UnmarshalJSON reads what MarshalJSON wrote. Where null can mean either, it becomes NaN for a frequency.
func (m *Margins) UnmarshalJSON(data []byte) error {
	none := finite(math.NaN())
	open := finite(math.Inf(1))
	r := marginsRecord{
		GainMargin: open, PhaseCrossover: none, PhaseMargin: open, GainCrossover: none, DelayMargin: open,
		Ms: open, MsFrequency: none, Mt: open, MtFrequency: none,
	}
	if err := json.Unmarshal(data, &r); err != nil {
		return err
	}
	*m = Margins{
		Stable: r.Stable, GainMargin: float64(r.GainMargin), PhaseCrossover: float64(r.PhaseCrossover),
		GainReduction: float64(r.GainReduction), GainReductionFrequency: math.NaN(), PhaseMarginDeg: float64(r.PhaseMargin),
		GainCrossover: float64(r.GainCrossover), DelayMarginS: float64(r.DelayMargin), Ms: float64(r.Ms),
		MsFrequency: float64(r.MsFrequency), Mt: float64(r.Mt), MtFrequency: float64(r.MtFrequency),
	}
	return nil
}

// stepRecord and loadRecord are the metrics as stored.
type (
	stepRecord struct {
		Rise          finite `json:"rise_10_to_90_percent_s"`
		Overshoot     finite `json:"overshoot_percent"`
		Undershoot    finite `json:"undershoot_percent"`
		PeakTime      finite `json:"peak_time_s"`
		Settling      finite `json:"settling_2_percent_s"`
		IAE           finite `json:"absolute_error_integral_unit_s"`
		IE            finite `json:"error_integral_unit_s"`
		ControlPeak   finite `json:"control_peak_ratio"`
		ControlTravel finite `json:"control_travel_ratio"`
	}
	loadRecord struct {
		Peak          finite `json:"peak_unit"`
		PeakTime      finite `json:"peak_time_s"`
		IAE           finite `json:"absolute_error_integral_unit_s"`
		IE            finite `json:"error_integral_unit_s"`
		ControlTravel finite `json:"control_travel_ratio"`
	}
)

// MarshalJSON writes null for what the response does not show.
func (m StepMetrics) MarshalJSON() ([]byte, error) {
	return json.Marshal(stepRecord{
		finite(m.RiseS), finite(m.OvershootPercent), finite(m.UndershootPercent), finite(m.PeakTimeS), finite(m.SettlingS),
		finite(m.IAE), finite(m.IE), finite(m.ControlPeak), finite(m.ControlTravel),
	})
}

// UnmarshalJSON reads what MarshalJSON wrote; null becomes NaN.
func (m *StepMetrics) UnmarshalJSON(data []byte) error {
	none := finite(math.NaN())
	r := stepRecord{none, none, none, none, none, none, none, none, none}
	if err := json.Unmarshal(data, &r); err != nil {
		return err
	}
	*m = StepMetrics{
		float64(r.Rise), float64(r.Overshoot), float64(r.Undershoot), float64(r.PeakTime), float64(r.Settling),
		float64(r.IAE), float64(r.IE), float64(r.ControlPeak), float64(r.ControlTravel),
	}
	return nil
}

// MarshalJSON writes null for what the response does not show.
func (m LoadMetrics) MarshalJSON() ([]byte, error) {
	return json.Marshal(loadRecord{finite(m.Peak), finite(m.PeakTimeS), finite(m.IAE), finite(m.IE), finite(m.ControlTravel)})
}

// UnmarshalJSON reads what MarshalJSON wrote; null becomes NaN.
func (m *LoadMetrics) UnmarshalJSON(data []byte) error {
	none := finite(math.NaN())
	r := loadRecord{none, none, none, none, none}
	if err := json.Unmarshal(data, &r); err != nil {
		return err
	}
	*m = LoadMetrics{float64(r.Peak), float64(r.PeakTime), float64(r.IAE), float64(r.IE), float64(r.ControlTravel)}
	return nil
}
