// Package pid holds the control law of an axis, the published rules for its gains, and what can be said of a loop
// before anything moves: margins, and the response to a step.
//
// # How it is used
//
// A process model (FirstOrder, SecondOrder, Integrating) comes from package process, or from the drive shaft's speed
// and the step test. LoopDelay adds what the controller itself costs. A Rule turns the model into a Tuning. MarginsOf
// and a Simulator say how robust and how quick that is. Optimum is this package's own design: the least load error within
// bounds on Ms and Mt, which no rule that keeps to the same bounds beats; TradeOff shows what a calmer loop costs; OptimumForAll
// keeps to the bounds over all processes that a fit leaves open (Uncertain). A Law is what the controller is given; Controller is the law in
// Go, the reference that other implementations are compared with.
//
// The package knows nothing of rigs, wires or files. Frequencies are rad/s, times s, phases degrees. Dead time is exact
// everywhere: no rational stand-in for it is used. Functions are pure. A Controller or a Simulator keeps state and
// belongs to one goroutine; everything else is a plain value.
//
// # The control law
//
// This is the text that firmware and virtual controllers follow. Numbers are real; single precision is enough if the
// differences marked (*) are taken between counts before they become floating point.
//
// Units: the measured value y and the set-point r are in counts, unwrapped, with the same datum. Ratios are output turns
// per turn of the drive shaft, positive where the count rises. The period h is in seconds.
//
// Parameters: h > 0; gains Kp >= 0 (ratio per count), Ki >= 0 (ratio per count and second), Kd >= 0 (ratio per count a
// second); filter time Tf >= 0 (s); set-point weight b, from 0 to 1; feed-forward F >= 0 (ratio per count a second);
// bounds of the ratio umin < 0 < umax; tracking time Tt (s), at least h where Ki > 0; hold zone E >= 0 (counts; 0 is
// none), hold release X >= E (counts), hold delay H >= 0 (s); the inverse table and the neutral pulse.
//
// State: integral I, filtered derivative D, last measured value yLast, last set-point rLast, origin r0, quiet periods Q
// (a whole number), and holding (yes or no).
//
// Closing the loop, with y the measured value then: I = 0, D = 0, yLast = y, rLast = y, r0 = y, Q = 0, holding = no.
// The law is therefore the same wherever the datum lies.
//
// Each period, with the measured value y, the set-point r and the set-point's rate s (counts a second; 0 for a single
// set-point), in this order:
//
//  1. e = r - y (*).
//  2. D = (Tf D - Kd (y - yLast)) / (Tf + h), the difference (*). With Kd = 0, D = 0.
//     The derivative acts on the measured value only, so a step of the set-point does not kick.
//  3. Set-point at rest: r = rLast and s = 0.
//     If E > 0, at rest, and |e| <= E: Q = Q + 1. Otherwise Q = 0. Q need not count beyond N, the least whole number
//     of periods that is at least 1 and at least H / h.
//  4. If holding, and (not at rest, or |e| > X): holding = no.
//     If not holding, and E > 0, and Q >= N: holding = yes.
//  5. If holding: u = 0, the pulse is the neutral pulse, and I is left as it is (frozen).
//  6. If not holding:
//     v = Kp (e - (1 - b)(r - r0)) + I + D + F s;
//     u = v limited to umin .. umax;
//     the pulse is the inverse table's for u;
//     I = I + h (Ki e + (u - v) / Tt). With Ki = 0, I is left at 0.
//     This is back calculation: while the output is limited, the integral is led back with time constant Tt, so that it
//     does not wind up. I is used before it is advanced.
//  7. yLast = y, rLast = r.
//
// A speed set-point V (counts a second) is a moving position: when it comes, r = y if the loop was open, r = the last r
// otherwise; each period, before the steps above, r = r + h V and s = V. V = 0 stops r where it is.
//
// Opening the loop (release, park, stop) puts the pulse to neutral. The state is then void until the loop is closed anew.
//
// The inverse table holds points (ratio, pulse), rising in ratio, with pulses that all rise or all fall. Either two
// neighbouring points have ratio 0, or none has. In the first case these two are the inner backward and the inner forward
// point; in the second they are the last with ratio < 0 and the first with ratio > 0. Between their pulses lies the dead
// band with the neutral pulse, where no ratio can be had:
//
//   - u = 0: the neutral pulse.
//   - u > 0 and below the inner forward ratio f: neutral if u < f/2, the inner forward pulse otherwise. In the same way
//     backward: u < 0 and above the inner backward ratio g: neutral if u > g/2, the inner backward pulse otherwise.
//   - between two points of the same side: linear interpolation of the pulse by the ratio.
//   - beyond the first or last point: that point's pulse.
//
// The pulse is then rounded to the servo's resolution. It is in force from the first servo frame that begins after it
// was computed, so up to a whole frame (20 ms for an ordinary hobby servo) later, and the held output lags another half
// period on average: both belong to the loop as dead time (LoopDelay).
//
// The hold zone is there because integral action on an integrating axis with lost motion always hunts: see the
// describing function of backlash, Gelb and Vander Velde, Multiple-Input Describing Functions (1968). It stops that by
// letting go, at the cost of an error of up to E, or up to X where something pushes the axis.
//
// # Not here
//
// Finding the model is the work of package process, choosing among the designs that of package gains. Nothing here
// treats a wobbling loop as stable: margins of an unstable loop are marked so.
//
// # Sources
//
// Anti-windup by back calculation, set-point weight and derivative filter: K. J. Astrom and T. Hagglund, Advanced PID
// Control, ISA 2006 (from memory). The rules name their own sources. Greatest gain outside a circle about -1: Astrom,
// Panagopoulos and Hagglund, Automatica 34 (1998) 585 (from memory). Count of unstable poles: the argument principle in
// the form of Mikhailov for retarded quasi-polynomials.
package pid
