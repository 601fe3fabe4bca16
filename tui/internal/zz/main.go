package main

import (
	"context"
	"fmt"
	"math"
	"os"
	"strconv"
	"sync/atomic"
	"time"

	"trunnion/fixtures/machines"
	"trunnion/fixtures/rigs"
	"trunnion/link/client"
	"trunnion/link/virtual"
	"trunnion/link/virtual/physics"
	"trunnion/tui"
	"trunnion/tuning/bench"
	"trunnion/tuning/rig"
	"trunnion/tuning/session"
)

func must[T any](v T, err error) T {
	if err != nil {
		panic(err)
	}
	return v
}

func main() {
	name := os.Args[1]
	pace, _ := strconv.ParseFloat(os.Args[2], 64)
	r := must(rig.Parse(name, must(rigs.Text(name))))
	machine := must(physics.Read(must(machines.Text(name))))
	v := must(virtual.New(machine, virtual.Options{Seed: 1, Boot: 1}))
	stands := session.StandsAt{}
	for j, joint := range machine.Joints {
		stands[joint.Name] = math.Round(v.Plant().JointPosition(j))
	}
	conn := virtual.Dial(v, virtual.Pace(pace))
	feed := tui.NewFeed(r)
	var cur atomic.Pointer[session.Session]
	c := must(client.Dial(conn, client.Options{SampleRate: 100, Fresh: true, Axes: len(r.Axes), Counters: r.Counters(), OnSample: func(s bench.Sample) { feed.Sample(s) }}))
	s := must(session.New(session.Config{Rig: r, Bench: c, Now: time.Now, Software: "x", StandsAt: stands, Listen: feed.Event}))
	cur.Store(s)
	err := tui.Run(context.Background(), tui.Options{In: os.Stdin, Out: os.Stdout, Feed: feed, Actions: s, OnGone: func() { c.Stop() }})
	fmt.Println("ended:", err)
	c.Close()
}
