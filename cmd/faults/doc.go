// Package faults holds no code: its tests are the matrix of what can go wrong
// between the program, the line, the board, the machine and the disk.
//
// The real binary, built once, runs on a pseudo-terminal; the rig behind it is
// played in the test's own process, so that a test sees on the controller's
// clock what the board did to servo and drive, and every frame of both ways.
// Each fault is a subtest of that name, and a table of all is printed at the
// end: what the controller did, what was recorded, what the person was told.
//
// Most of the time the tests wait for a rig at real pace, so that more of them
// run at once than there are cores. An attempt that failed while the computer
// itself stood still is made again. TRUNNION_LONG=1 adds the faults that can
// strike only after a minute of the job.
package faults
