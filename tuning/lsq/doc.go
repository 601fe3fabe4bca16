// Package lsq fits parameters to readings by nonlinear least squares, with bounds, weights, prior knowledge and
// robust losses, and says how far the fitted numbers can be trusted.
//
// A Problem says what is fitted: how many residuals, the parameters by name, a function that writes the residuals
// (model minus reading) and, where there is one, a function that writes their derivatives. Fit starts from given
// parameters and returns a Result. Misuse (a wrong shape, bounds that cross) is an error; how the fit ended is a
// Status in the Result, because a fit that stopped early still has numbers worth looking at.
//
//	result, err := lsq.Fit(problem, start, lsq.Defaults())
//
// The method is a trust region in scaled parameters. Each outer iteration factors the Jacobian once by Householder
// QR and the small triangle by a singular value decomposition, from which every damped step of that iteration
// follows in closed form. The normal equations are never formed. Long fits bend their steps along curved valleys, and a
// fit that ends without a determined minimum is tried again with other first radii. After the loop has
// converged, plain Gauss-Newton steps polish the digits that the rounding of the cost hides.
//
// Standard errors rest on a noise assumption, which Result.Noise states: the readings' standard deviations are
// known, or only their proportions are and the scale comes from the residuals. Parameters that the readings cannot
// tell apart are named in Result.Unidentified, not given a large number.
//
// It is not a general optimiser, it does not search for a global minimum, and it takes no sparse Jacobians.
// Functions are pure. A Solver may be reused but not shared between goroutines; Problem, Options and Result may be
// shared as long as the functions in Problem may.
//
// Sources: J. J. Moré, The Levenberg-Marquardt algorithm, in Numerical Analysis, Lecture Notes in Mathematics 630
// (1978), for the scaling, the radius rule and the stopping tests (from memory); P. J. Huber, Robust Statistics
// (1981), section 7.6, for the covariance under a robust loss (from memory); JCGM 100:2008 (GUM), example H.3 and the
// NIST Statistical Reference Datasets for the numbers in the tests.
package lsq
