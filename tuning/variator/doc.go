// Package variator turns readings of pulse and ratio into a curve with a known error, and into its inverse.
//
// Fit takes the readings of one axis, from both sides of the dead band, and returns a Model: a law with fitted
// parameters where one describes the readings, a free-form monotone curve where none does. The Model gives the ratio
// at a pulse with its band, the pulse for a ratio with its standard error, the table for a small controller, and what
// it thinks of itself: lack of fit, leave-one-out error, the readings it left out, a verdict in words. A Model is
// plain data. It is written to the calibration document as JSON and comes back from it exactly.
//
// The laws, with x the pulse less the centre, e = max(|x| - onset, 0) the pulse beyond the onset, s the sign of x and
// K = gain (1 + s asymmetry):
//
//	contact        ratio = s K tan(rate e)                             contacts 90 degrees apart about the pivot
//	contact_angle  ratio = s K sin(rate e) / cos(rate e - s error)     contacts off 90 degrees by an angle error
//	disc           ratio = s K e                                       wheel on a disc, moved in proportion
//	disc_arm       ratio = s K sin(rate e)                             wheel on a disc, moved by a servo arm
//
// Two terms may be added to any of them: the curvature c of the linkage between servo and tilt, which puts e (1 + s c e)
// in the place of e, and the friction offset f, which takes f off the size of the ratio (negative, a jump with which the
// output leaves rest). With readings from both approaches the tilt's hysteresis is fitted as well: e is less by half of it
// outward, more by half inward.
//
// They follow from geometry: the ball's spin axis lies at the tilt, each contact sees the sine of its angle to that
// axis, and a wheel on a disc runs at the speed of the radius where it stands. The onset is a parameter of its own:
// it is where the fitted curve, friction offset apart, meets zero, which need not be the edge that a dead-band search
// finds.
//
// Which law is right is often not to be told: contacts off 90 degrees and a curved linkage bend the curve almost alike,
// and a small friction offset looks like a greater onset. The Model says so (Inseparable, Rival, Verdict), and its bands
// take in how far the rival lies off, so that they hold the curve whichever is true.
//
// A law is added by its shape (see shape in law.go) and a line in the list; nothing else names the laws.
//
// Package variator knows nothing of rigs, files or motion. Functions are pure; a Model may be shared between
// goroutines as long as nobody writes its fields.
//
// Sources: geometry as above; P. J. Rousseeuw and K. Van Driessen, FAST-LTS, Data Mining and Knowledge Discovery 12
// (2006), for the robust start; N. R. Draper and H. Smith, Applied Regression Analysis, for lack of fit; C. M. Hurvich
// and C.-L. Tsai, Biometrika 76 (1989), for AICc; H. Scheffé 1953 for the simultaneous band (all from memory).
package variator
