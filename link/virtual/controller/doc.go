// Package controller is a bench controller in software: the state machine that
// link/PROTOCOL.md describes, without a board under it.
//
// Give [New] a [Config] and the [Hardware] it drives. Hand it what arrives with
// [Controller.Feed]; call [Controller.Poll] at the times that [Controller.Due]
// names; take what it sends, byte by byte, with [Controller.Next]. It knows no
// other clock than the hardware's, so it runs at any pace and always the same.
//
// The files follow the sections of PROTOCOL.md, and so does the firmware that
// mirrors them: requests (3), connection (4), states (6), stop (7), pulses (8),
// drive, guards, travel and counters (9), setpoint, stream, law and table (10),
// serve (11), reports and samples (12).
//
// It is not the machine: what the pulses do is the business of the hardware.
// The closed loop is written from the text of PROTOCOL.md and of the package
// comment of tuning/pid alone, so that it can be compared with other versions.
//
// A Controller belongs to one goroutine at a time.
package controller
