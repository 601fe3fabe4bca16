package virtual

// Way is a direction on the line.
type Way int

// The two ways.
const (
	ToController Way = iota
	ToHost
)

func (r *Rig) path(w Way) *path {
	if w == ToController {
		return &r.up
	}
	return &r.down
}

// Cut cuts the line, both ways, or mends it.
func (r *Rig) Cut(cut bool) { r.up.cut, r.down.cut = cut, cut }

// Lose lets the next so many bytes vanish.
func (r *Rig) Lose(w Way, bytes int) { r.path(w).losing += bytes }

// Garble turns the next so many bytes into other ones.
func (r *Rig) Garble(w Way, bytes int) { r.path(w).garble += bytes }

// Double lets the next so many bytes come twice.
func (r *Rig) Double(w Way, bytes int) { r.path(w).doubled += bytes }

// Noise puts so many random bytes on the line.
func (r *Rig) Noise(w Way, bytes int) {
	p := r.path(w)
	noise := make([]byte, bytes)
	for i := range noise {
		noise[i] = byte(p.random.IntN(256))
	}
	p.send(r.Now()*1000, noise)
}

// Freeze hangs the controller, or lets it go on. Pulses and drive stay as they
// are, since timers and outputs of a board need no program; what arrives
// meanwhile is lost.
func (r *Rig) Freeze(frozen bool) { r.frozen = frozen }

// Restart lets the supply of the controller dip: drive and pulses are off at
// once, and it starts anew.
func (r *Rig) Restart() {
	r.plant.SetDrive(0)
	for i := range int(r.controller.Axes()) {
		r.plant.SetPulse(i, 0)
	}
	r.frozen, r.starting = false, true
	r.startUntil = r.Now() + r.options.StartMicros
}

// OpenStopInput opens the stop switch, or closes it.
func (r *Rig) OpenStopInput(open bool) { r.stopOpen = open }
