package main

import (
	"fmt"
	"math"
	"strings"

	"trunnion/fixtures/machines"
	"trunnion/link"
	"trunnion/link/virtual"
	"trunnion/link/virtual/physics"
)

// virtualRig builds a virtual rig by the name of its machine.
func virtualRig(name string, seed uint64) (*virtual.Rig, error) {
	text, err := machines.Text(name)
	if err != nil {
		return nil, &usageError{fmt.Sprintf("--demo %s: there is none of that name; there are %s", name, strings.Join(machines.Names(), ", "))}
	}
	machine, err := physics.Read(text)
	if err != nil {
		return nil, err
	}
	return virtual.New(machine, virtual.Options{Seed: seed, Boot: 1})
}

// virtualConn connects to a virtual rig inside this process.
func virtualConn(name string, seed uint64, pace float64) (link.Conn, error) {
	rig, err := virtualRig(name, seed)
	if err != nil {
		return nil, err
	}
	return virtual.Dial(rig, virtualPace(pace)), nil
}

// virtualPace is a factor of real time as the virtual rig takes it.
func virtualPace(factor float64) virtual.Pace {
	if math.IsInf(factor, 1) {
		return virtual.FlatOut
	}
	return virtual.Pace(factor)
}
