// Package process finds how fast an axis answers a change of the commanded ratio: gain, dead time and lag, fitted to the
// counts themselves.
//
// # Model
//
// A new pulse takes effect at a known time. The ratio that it asks for goes from one value to another, at once or along
// the ratio curve as fast as the servo's slew allows, where that is known. The true ratio of the axis follows it with a
// dead time L, a lag of the first order T and a gain K, from whatever it was before:
//
//	ratio(t) = r0 + K (wanted(t - L) - from), lagged by T
//	counts(t) = offset + counts per turn x integral of ratio(t) d(shaft angle)
//
// The measured angle of the drive shaft is the input, so that the motor's sag under load is not taken for lag. Between
// samples the shaft is taken to turn evenly; the integral is then closed form, with no further approximation. Counts are
// not differenced into speeds first: a speed stamped at the end of its gate instead of the middle moves the dead time by
// half a gate.
//
// K, L and T are common to all steps given; each step has its own r0 and offset, and its own sine and cosine of the shaft
// angle (runout), if asked. All of these are linear and are projected out exactly (Frisch and Waugh).
//
// # Noise and errors
//
// Two kinds of noise are told apart: one on each reading (quantisation, 1/sqrt(12) counts, and fast ripple) and wander,
// a random walk of the angle (slip, creep, uneven rolling). Their proportion is found by maximum likelihood from the
// residuals, and the readings are whitened accordingly by the filter for a random walk seen through noise (Harvey,
// Forecasting, Structural Time Series Models and the Kalman Filter, 1989; from memory), so that neither is overtrusted.
// What correlation is left widens the standard errors (Newey and West, Econometrica 55 (1987) 703; from memory).
//
// OneModel tests whether one linear model serves all steps: an F test against fits of each step by itself. Where it does
// not, the standard errors are those of a mean over steps that differ, and the words say what differs and what that
// usually means.
//
// # Use
//
//	result, err := process.Fit(steps, process.Settings{CountsPerTurn: 2400, Harmonics: 1})
//	axis := result.Position(shaftTurnsPerSecond, countsPerUnitOfOutput)
//
// FitRates does the same for readings of the output's speed or ratio at single instants. FitRecorded takes any record of
// input and output, from a file for example, and fits one lag, two lags or an integrating process with exact dead time.
// Result.Uncertain hands the fit on with its covariance, for gains that hold over all that it leaves open.
//
// A relay in place of a controller makes a process go to and fro; RelayOnFirstOrder and its kin give amplitude and period
// exactly, and turned round the model from them.
//
// The package plans no steps, moves nothing, and makes no statement on a servo apart from the axis. Functions are pure
// and may be called from several goroutines.
package process
