package conformance

import (
	"encoding/hex"
	"fmt"
	"strings"
	"time"

	"trunnion/link"
	"trunnion/link/wire"
)

// do carries out one command of a script.
func (r *runner) do(line string) error {
	command, rest, _ := strings.Cut(line, " ")
	switch command {
	case "send", "lose", "spoil":
		return r.send(command, rest)
	case "again":
		r.ask(r.sentNumber)
		return r.await(func() error { return r.target.Conn.Write(r.sent) })
	case "bytes":
		return r.bytes(rest)
	case "wait":
		span, err := r.millis(rest)
		if err != nil {
			return err
		}
		return r.listen(span)
	case "keep":
		span, err := r.millis(rest)
		if err != nil {
			return err
		}
		return r.keep(span)
	case "sample":
		return r.sample()
	case "count":
		span, err := r.millis(rest)
		if err != nil {
			return err
		}
		return r.count(span)
	case "rate":
		return r.rate(rest)
	case "bench":
		return r.bench(rest)
	case "look":
		return r.look()
	case "reach":
		return r.reach(rest)
	}
	return wrong("there is no command %q", command)
}

func (r *runner) millis(text string) (time.Duration, error) {
	v, err := r.kept.value(text)
	if err != nil {
		return 0, wrong("%v", err)
	}
	return time.Duration(v) * time.Millisecond, nil
}

// send sends a request and waits for its answer. A lost one only takes a number;
// a spoiled one has a wrong checksum and is not waited for.
func (r *runner) send(how, text string) error {
	name, fields := words(text)
	t, err := typeNamed(name)
	if err != nil {
		return err
	}
	number, err := r.numberFor(t, &fields)
	if err != nil {
		return err
	}
	load, err := payload(name, fields, r.kept.value)
	if err != nil {
		return wrong("%v", err)
	}
	r.sent, r.sentNumber = encode(t, number, load), number
	r.ask(number)
	switch how {
	case "lose":
		return nil
	case "spoil":
		spoiled := append([]byte(nil), r.sent...)
		spoiled[len(spoiled)-2] ^= 0x55
		if spoiled[len(spoiled)-2] == 0 {
			spoiled[len(spoiled)-2] = 1
		}
		return r.target.Conn.Write(spoiled)
	}
	return r.await(func() error { return r.target.Conn.Write(r.sent) })
}

// ask notes that an answer with a number may come in this block.
func (r *runner) ask(number uint16) {
	if r.numbers == nil {
		r.numbers = map[uint16]bool{}
	}
	r.numbers[number] = true
}

// typeNamed is the type of a message; one that has no name is written as type
// with its number.
func typeNamed(name string) (wire.Type, error) {
	if value, numbered := strings.CutPrefix(name, "type="); numbered {
		v, err := integer(value)
		if err != nil {
			return 0, wrong("the type %q is no number", value)
		}
		return wire.Type(v), nil
	}
	t, known := types[name]
	if !known {
		return 0, wrong("there is no message %q", name)
	}
	return t, nil
}

// numberFor is the number of the next request, or the one that the text gives.
func (r *runner) numberFor(t wire.Type, fields *[]field) (uint16, error) {
	given, rest := cut(*fields, "number")
	*fields = rest
	switch {
	case given == "same":
		return r.number, nil
	case given != "":
		v, err := r.kept.value(given)
		if err != nil {
			return 0, wrong("%v", err)
		}
		if v > 0 && t != wire.TypeHello && t != wire.TypeHeartbeat {
			r.number = uint16(v)
		}
		return uint16(v), nil
	case t == wire.TypeHello:
		r.number = 0
		return 0, nil
	case t == wire.TypeHeartbeat:
		return 0, nil
	}
	r.number = wire.NextNumber(r.number)
	return r.number, nil
}

// await does something and then listens until an answer has come, or too long.
func (r *runner) await(f func() error) error {
	before := r.answers()
	if err := f(); err != nil {
		return err
	}
	for end := r.target.Conn.Now() + answerTime; r.target.Conn.Now() < end && r.answers() == before; {
		if err := r.readOnce(time.Millisecond); err != nil {
			return err
		}
	}
	return nil
}

// answers is how many answers came in this block.
func (r *runner) answers() int {
	n := 0
	for _, line := range r.received {
		if !strings.HasPrefix(line, "notice") {
			n++
		}
	}
	return n
}

func (r *runner) bytes(text string) error {
	b, err := hex.DecodeString(strings.ReplaceAll(text, " ", ""))
	if err != nil {
		return wrong("%v", err)
	}
	return r.target.Conn.Write(b)
}

// keep listens for so long and sends heartbeats, whose answers are not listed.
func (r *runner) keep(span time.Duration) error {
	for end := r.target.Conn.Now() + span; ; {
		left := end - r.target.Conn.Now()
		if left <= 0 {
			return nil
		}
		r.beats++
		if err := r.target.Conn.Write(encode(wire.TypeHeartbeat, 0, nil)); err != nil {
			return err
		}
		if err := r.listen(min(beat, left)); err != nil {
			return err
		}
	}
}

// sample lists the next sample that comes within 100 ms.
func (r *runner) sample() error {
	r.samples = nil
	for end := r.target.Conn.Now() + 100*time.Millisecond; r.target.Conn.Now() < end && len(r.samples) == 0; {
		if err := r.readOnce(time.Millisecond); err != nil {
			return err
		}
	}
	if len(r.samples) > 0 {
		r.received = append(r.received, r.samples[0].String())
	}
	return nil
}

// count lists how many samples came in a time with heartbeats, how many of them
// were lost by their numbers, and the least and greatest time between them.
func (r *runner) count(span time.Duration) error {
	r.samples = nil
	if err := r.keep(span); err != nil {
		return err
	}
	n, lost := len(r.samples), 0
	least, most := int64(1)<<40, int64(0)
	for i := 1; i < n; i++ {
		lost += int(r.samples[i].Number-r.samples[i-1].Number) - 1
		apart := int64(r.samples[i].Message.(wire.Sample).TimeMicros - r.samples[i-1].Message.(wire.Sample).TimeMicros)
		least, most = min(least, apart), max(most, apart)
	}
	if n < 2 {
		least = 0
	}
	r.received = append(r.received, fmt.Sprintf("samples count=%d lost=%d least=%d most=%d", n, lost, least, most))
	return nil
}

// rate changes the rate of this end of the line.
func (r *runner) rate(text string) error {
	v, err := r.kept.value(text)
	if err != nil {
		return wrong("%v", err)
	}
	line, able := r.target.Conn.(link.RateChanger)
	if !able {
		return wrong("this connection cannot change its rate; the script must say: needs rate")
	}
	return line.SetRate(int(v))
}

func (r *runner) bench(text string) error {
	if r.target.Bench == nil {
		return wrong("there is no bench; the script must say: needs bench")
	}
	what, fields := words(text)
	counter, fields := cut(fields, "counter")
	count, _ := cut(fields, "count")
	switch what {
	case "restart":
		r.target.Bench.Restart()
		r.number = 0
		return r.listen(r.target.Start)
	case "open":
		r.target.Bench.OpenStopInput(true)
		return nil
	case "close":
		r.target.Bench.OpenStopInput(false)
		return nil
	case "turn":
		c, err := integer(counter)
		if err != nil {
			return wrong("counter: %v", err)
		}
		n, err := integer(count)
		if err != nil {
			return wrong("count: %v", err)
		}
		r.target.Bench.SetCounter(int(c), n)
		return nil
	}
	return wrong("a bench cannot %q", what)
}

// reach waits, with heartbeats, until a servo gets a pulse, and lists it.
func (r *runner) reach(text string) error {
	_, fields := words("reach " + text)
	var n [3]int64
	for i, name := range [...]string{"axis", "pulse", "within"} {
		value, _ := cut(fields, name)
		v, err := r.kept.value(value)
		if err != nil {
			return wrong("%s: %v", name, err)
		}
		n[i] = v
	}
	if r.target.Bench == nil {
		return wrong("there is no bench; the script must say: needs bench")
	}
	pulse := func() int { return r.target.Bench.PulseTenths(int(n[0])) }
	for end := r.target.Conn.Now() + time.Duration(n[2])*time.Millisecond; r.target.Conn.Now() < end && pulse() != int(n[1]); {
		if err := r.keep(5 * time.Millisecond); err != nil {
			return err
		}
	}
	r.received = append(r.received, fmt.Sprintf("reached axis=%d pulse=%d", n[0], pulse()))
	return nil
}

// look lists what the outputs of the controller are.
func (r *runner) look() error {
	if r.target.Bench == nil {
		return wrong("there is no bench; the script must say: needs bench")
	}
	line := fmt.Sprintf("outputs drive=%d", r.target.Bench.Drive())
	for i := range r.target.Has["axes"] {
		line += fmt.Sprintf(" pulse=%d", r.target.Bench.PulseTenths(i))
	}
	r.received = append(r.received, line)
	return nil
}
