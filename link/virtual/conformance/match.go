package conformance

import (
	"fmt"
	"maps"
	"strings"
)

// captured are values that a script has kept by name.
type captured map[string]int64

// value is the number that a text stands for: integers and kept names, added or
// taken away. The sum of several names is one of times, modulo 2^32.
func (c captured) value(text string) (int64, error) {
	var whole, named int64
	names := 0
	for rest, sign := text, int64(1); ; {
		term, more := rest, ""
		end := strings.IndexAny(rest[min(1, len(rest)):], "+-") + 1
		if end > 0 {
			term, more = rest[:end], rest[end:]
		}
		if v, err := integer(term); err == nil {
			whole += sign * v
		} else if v, known := c[term]; known {
			named += sign * v
			names++
		} else {
			return 0, fmt.Errorf("in %q, %q is neither a number nor the name of a kept value", text, term)
		}
		if more == "" {
			break
		}
		sign, rest = 1, more[1:]
		if more[0] == '-' {
			sign = -1
		}
	}
	if names > 1 {
		named = int64(int32(uint32(named)))
	}
	return whole + named, nil
}

// wraps are the fields that count modulo 2^32.
var wraps = map[string]bool{"time": true}

// matches reports whether what was received is what is expected: the same kind,
// and each field that is named there as it says. Fields that come several times
// are matched in their order. Values are kept where it says >name, or
// >name:range.
func (c captured) matches(expected, received string) (bool, error) {
	kind, wanted := words(expected)
	got, has := words(received)
	if kind != got {
		return false, nil
	}
	kept := maps.Clone(c)
	at := 0
	for _, w := range wanted {
		i := at
		for i < len(has) && has[i].name != w.name {
			i++
		}
		if i == len(has) {
			return false, nil
		}
		at = i + 1
		ok, err := kept.fits(w, has[i].value)
		if !ok || err != nil {
			return false, err
		}
	}
	maps.Copy(c, kept)
	return true, nil
}

func (c captured) fits(w field, text string) (bool, error) {
	if w.value == "*" || w.value == text {
		return true, nil
	}
	v, err := integer(text)
	if err != nil {
		return false, nil // text, such as a name, that is another one
	}
	span := w.value
	if strings.HasPrefix(span, ">") {
		name, rest, bounded := strings.Cut(span[1:], ":")
		c[name] = v
		if !bounded {
			return true, nil
		}
		span = rest
	}
	low, high, ranged := strings.Cut(span, "..")
	if !ranged {
		high = low
	}
	least, err := c.value(low)
	if err != nil {
		return false, err
	}
	most, err := c.value(high)
	if err != nil {
		return false, err
	}
	if wraps[w.name] {
		return int32(uint32(v)-uint32(least)) >= 0 && int32(uint32(most)-uint32(v)) >= 0, nil
	}
	return v >= least && v <= most, nil
}

// compare pairs what is expected with what was received, each one once, in any
// order. It returns what was not paired.
func (c captured) compare(expected, received []string) (missing, surplus []string, err error) {
	surplus = append(surplus, received...)
	for _, e := range expected {
		found := false
		for i, r := range surplus {
			found, err = c.matches(e, r)
			if err != nil {
				return nil, nil, err
			}
			if found {
				surplus = append(surplus[:i], surplus[i+1:]...)
				break
			}
		}
		if !found {
			missing = append(missing, e)
		}
	}
	return missing, surplus, nil
}
