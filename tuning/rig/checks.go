package rig

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"gonum.org/v1/gonum/mat"
)

// checkCounters reports a counter that two sensors share.
func (p *parts) checkCounters(r *Rig) {
	taken := map[int]string{}
	check := func(under *fields, owner string) {
		values, ok := under.values["sensor"].(map[string]any)
		if !ok {
			return
		}
		counter, ok := values["counter"].(int64)
		if !ok {
			return
		}
		if other, again := taken[int(counter)]; again {
			under.add(under.where.key("sensor").key("counter"), under.name+".sensor.counter",
				fmt.Sprintf("%d already counts for %s", counter, other), "write the controller's number of the input that this sensor is wired to")
			return
		}
		taken[int(counter)] = owner
	}
	if values, ok := p.top.values["drive"].(map[string]any); ok {
		check(&fields{reader: p.top.reader, where: path("").key("drive"), name: "drive", values: values}, "the drive shaft")
	}
	for i, t := range p.axes {
		check(t, fmt.Sprintf("axis %q", r.Axes[i].Name))
	}
	for i, t := range p.joints {
		check(t, fmt.Sprintf("joint %q", r.Joints[i].Name))
	}
}

// checkJoints looks at the joints' matrix and at what the sensors see of it.
func (p *parts) checkJoints(r *Rig) {
	if len(r.Joints) != len(r.Axes) {
		p.top.wrong("joint", fmt.Sprintf("there are %d joints for %d axes", len(r.Joints), len(r.Axes)),
			"describe one joint for each axis: what moves usefully when the outputs turn, alone or together")
		return
	}
	idle := false
	for i, a := range r.Axes {
		if len(r.Moves(i)) == 0 {
			p.axes[i].wrong("name", fmt.Sprintf("no joint is moved by %q", a.Name), "name it in the per_turn of the joint that it moves")
			idle = true
		}
	}
	if idle {
		return
	}
	p.checkIndependent(r)
	for i, known := range r.determined() {
		if !known {
			t := p.axes[i]
			t.add(t.where, "axis.sensor", fmt.Sprintf("no sensor says where the output of %q stands", r.Axes[i].Name),
				"add [axis.sensor] with an incremental or absolute sensor at its output wheel, or [joint.sensor] on the joints that it moves; a mark knows no direction")
		}
	}
}

// checkIndependent reports joints that move only together whatever the outputs do.
func (p *parts) checkIndependent(r *Rig) {
	n := len(r.Joints)
	var svd mat.SVD
	if !svd.Factorize(mat.NewDense(n, n, slices.Concat(r.even().at...)), mat.SVDFull) {
		return
	}
	values := svd.Values(nil)
	if condition := values[0] / values[n-1]; condition < worstCondition {
		return
	}
	names, last := p.together(r, &svd)
	t := p.joints[last]
	t.wrong("per_turn", "joints "+names+" cannot be moved apart from each other",
		"give them rows of per_turn that are not multiples or sums of each other, such as the sum and the difference of two outputs")
}

// together names the joints that hang together, those with a part in the combination of rows that is nearest to nought,
// and gives the last of them.
func (p *parts) together(r *Rig, svd *mat.SVD) (names string, last int) {
	var left mat.Dense
	svd.UTo(&left)
	n := len(r.Joints)
	var of []string
	for k := range n {
		if math.Abs(left.At(k, n-1)) > 0.1 {
			of = append(of, fmt.Sprintf("%q", r.Joints[k].Name))
			last = k
		}
	}
	return strings.Join(of, ", "), last
}
