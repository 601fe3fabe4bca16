package main

import (
	"errors"
	"testing"

	"github.com/stretchr/testify/assert"
	"trunnion/tuning/bench"
)

func TestOneTroubleIsToldOnce(t *testing.T) {
	disk, port := errors.New("the disk is full"), errors.New("the port is gone")
	samples, park := &bench.SilentError{Command: "the wait for samples"}, &bench.SilentError{Command: "park"}
	assert.NoError(t, andAlso(nil, nil))
	assert.Equal(t, "the disk is full", andAlso(nil, disk).Error())
	assert.Equal(t, "the disk is full", andAlso(disk, nil).Error())
	assert.Equal(t, "the disk is full", andAlso(disk, errors.Join(disk)).Error())
	assert.Equal(t, "the disk is full\nthe port is gone", andAlso(disk, errors.Join(disk, port)).Error())
	assert.Equal(t, samples.Error(), andAlso(samples, errors.Join(park)).Error())
	assert.ErrorIs(t, andAlso(disk, errors.Join(port, park)), park)
}

// A panic in a goroutine of the sitting ends neither the program nor the stop
// of the rig, and is told when the sitting closes.
func TestPanicInTheSittingsOwnGoroutine(t *testing.T) {
	s := &sitting{ticking: make(chan struct{})}
	s.guarded(func() { panic("made by the test") })
	var fault *programFault
	assert.ErrorAs(t, s.close(), &fault)
	assert.NotEmpty(t, fault.stack)
	assert.Contains(t, fault.Error(), "made by the test")
}
