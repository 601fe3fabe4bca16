// Package physics is the machine of the virtual rig: a motor, a drive shaft,
// and for every axis a servo, a ball variator, a worm, its lost motion and the
// joint behind it, with the sensors that watch them. It integrates forces and
// contacts; it holds no calibration law and knows nothing of the estimators
// that are judged by it.
//
// Use: read or build a [Machine], call [New], then alternate [Plant.SetPulse],
// [Plant.SetDrive] and [Plant.Advance], and read [Plant.Counter]. The truth
// accessors are for tests and pictures; a controller must not use them. [Scan]
// plays the machine itself through a slow exhaustive search and returns where
// its dead band ends and what ratio each pulse gives.
//
// It is not a controller: it makes no servo frames, keeps no limits and stops
// nothing.
//
// How it is integrated. All speeds (shaft, balls, output wheels) are solved
// together in one backward Euler step of fixed length. A traction force is
// written as a coefficient times the new slip speed, the coefficient taken at
// the last known slip; so a contact never feeds energy in, however stiff it is,
// and the ball needs no smaller step. Dry friction is set-valued: a part sticks
// when the force that would be needed lies within the friction, exactly and for
// ever, and slides otherwise. Positions follow from the new speeds. Mesh
// springs and end stops are explicit, and Validate refuses a machine too stiff
// for its step. The scheme is of first order in the step.
//
// A Plant is not safe for concurrent use; different plants are independent.
// Scan may be called from several goroutines.
//
// Sources. Contact of a ball that rolls and spins: traction and spin moment of
// a Hertz patch under Coulomb friction, derived at the functions (the problem
// is Lurye's and Contensou's; the fractions are compared from memory with
// Zhuravlev 1998). Worm: force balance on an inclined thread, in Mott, Machine
// Elements in Mechanical Design, 4th ed., chapter 8. Set-valued friction in
// time steps: Moreau's scheme (from memory, Acary and Brogliato 2008).
package physics
