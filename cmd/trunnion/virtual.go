package main

import (
	"fmt"
	"math"
	"strings"

	"trunnion/fixtures/machines"
	"trunnion/link"
	"trunnion/link/virtual"
	"trunnion/link/virtual/physics"
	"trunnion/tuning/session"
)

// firstDay is the demo of a first power-up, on which nobody has read anything
// off the machine yet.
const firstDay = "firstday"

// virtualRig builds a virtual rig by the name of its machine.
func virtualRig(name string, seed uint64) (*virtual.Rig, physics.Machine, error) {
	text, err := machines.Text(name)
	if err != nil {
		return nil, physics.Machine{}, &usageError{fmt.Sprintf("--demo %s: there is none of that name; there are %s", name, strings.Join(machines.Names(), ", "))}
	}
	machine, err := physics.Read(text)
	if err != nil {
		return nil, machine, err
	}
	rig, err := virtual.New(machine, virtual.Options{Seed: seed, Boot: 1})
	return rig, machine, err
}

// virtualConn connects to a virtual rig inside this process and tells where its
// joints stand, rounded to what a person can read off a scale.
func virtualConn(name string, seed uint64, pace float64) (link.Conn, session.StandsAt, error) {
	rig, machine, err := virtualRig(name, seed)
	if err != nil {
		return nil, nil, err
	}
	stands := session.StandsAt{}
	for j, joint := range machine.Joints {
		stands[joint.Name] = math.Round(rig.Plant().JointPosition(j))
	}
	return virtual.Dial(rig, virtualPace(pace)), stands, nil
}

// virtualPace is a factor of real time as the virtual rig takes it.
func virtualPace(factor float64) virtual.Pace {
	if math.IsInf(factor, 1) {
		return virtual.FlatOut
	}
	return virtual.Pace(factor)
}
