// Package virtual is the virtual rig: the machine of package physics and the
// controller of package controller on one clock, and the serial line to them.
//
// [New] builds a [Rig]; [Rig.Advance] lets time pass. [Dial] gives a link.Conn
// to a rig inside this process: flat out, when virtual time passes inside Read
// and a run is always the same, or in real time, or so many times faster.
// [Serve] plays a rig in real time on a stream, such as the pseudo-terminal that
// package ptyline opens. What can go wrong on the line and on the board is done
// by methods of the Rig.
//
// Bytes take their time on the line, ten bits each at its rate, so that latency
// is honest; the delays of adapters and operating systems are not modelled.
//
// The rig knows the truth about itself; nothing that calibrates may ask it, but
// tests and pictures may (see [Rig.Plant]).
//
// A Rig belongs to one goroutine at a time. A Conn may be used from several.
package virtual
