package link_test

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"trunnion/link"
)

func TestErrorIsItsKindAndItsCause(t *testing.T) {
	err := fmt.Errorf("dial: %w", &link.Error{Op: "open", Port: "/dev/x", Kind: link.Busy, Detail: "process 12", Err: io.EOF})
	require.ErrorIs(t, err, link.Busy)
	require.ErrorIs(t, err, io.EOF)
	require.NotErrorIs(t, err, link.Gone)
	var e *link.Error
	require.True(t, errors.As(err, &e))
	require.Equal(t, "/dev/x", e.Port)
}

// Every kind must tell the person what to do, at the end of the text.
func TestEveryKindEndsWithWhatToDo(t *testing.T) {
	seen := map[string]bool{}
	for k := link.NoSuchPort; k <= link.Broken; k++ {
		text := (&link.Error{Op: "open", Kind: k, Err: io.EOF}).Error()
		require.NotEmpty(t, k.ToDo(), "kind %d", k)
		require.True(t, strings.HasSuffix(text, k.ToDo()), text)
		require.False(t, seen[k.Error()], "two kinds read alike: %s", k.Error())
		seen[k.Error()] = true
	}
}

func TestUnknownKindDoesNotPanic(t *testing.T) {
	require.NotEmpty(t, link.Kind(0).Error())
	require.NotEmpty(t, link.Kind(200).ToDo())
}
