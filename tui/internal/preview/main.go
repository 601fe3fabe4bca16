// Command preview shows the console on a scene of invented data, for looking at
// it without a rig:
//
//	go run ./tui/internal/preview dead-band
//
// What is asked of it does nothing but take a moment.
package main

import (
	"context"
	"fmt"
	"os"
	"time"

	"trunnion/tui"
	"trunnion/tui/internal/scenes"
	"trunnion/tuning/calibration"
	"trunnion/tuning/session"
)

// nobody stands for a session that takes its time.
type nobody struct{}

func (nobody) Arm(context.Context) error { time.Sleep(time.Second); return nil }
func (nobody) RunTask(ctx context.Context, _ int, _ session.Task) error {
	<-ctx.Done()
	return context.Cause(ctx)
}
func (n nobody) Run(ctx context.Context) error { return n.RunTask(ctx, 0, "") }
func (nobody) Stop(string) error               { return nil }
func (nobody) Clear(context.Context) error     { return nil }
func (nobody) Park() error                     { time.Sleep(300 * time.Millisecond); return nil }
func (nobody) Document() calibration.Document  { return calibration.Document{} }

func main() {
	if len(os.Args) != 2 {
		fmt.Println("name a scene:")
		for _, s := range scenes.List() {
			fmt.Printf("  %-16s %s\n", s.Name, s.About)
		}
		return
	}
	feed := tui.NewFeed(scenes.Lift())
	player := scenes.Play(scenes.Named(os.Args[1]), feed)
	go func() {
		for range time.Tick(10 * time.Millisecond) {
			player.Step(1)
		}
	}()
	if err := tui.Run(context.Background(), tui.Options{In: os.Stdin, Out: os.Stdout, Feed: feed, Actions: nobody{}}); err != nil {
		fmt.Fprintln(os.Stderr, "preview:", err)
		os.Exit(1)
	}
}
