package filter

// Texts returns the texts one of which a property must equal for e to hold; false
// where e does not say so plainly. It looks at what e joins by AND.
func Texts(e Expr, property string) (list []string, ok bool) {
	return wanted(e, property, func(e Expr) (string, bool) {
		s, ok := e.(*String)
		if !ok {
			return "", false
		}
		return s.Value, true
	})
}

// Numbers is Texts for numbers.
func Numbers(e Expr, property string) (list []float64, ok bool) {
	return wanted(e, property, func(e Expr) (float64, bool) {
		n, ok := e.(*Number)
		if !ok {
			return 0, false
		}
		return n.Value, true
	})
}

func wanted[T any](e Expr, property string, literal func(Expr) (T, bool)) (list []T, ok bool) {
	o, isOp := e.(*Op)
	if !isOp {
		return nil, false
	}
	switch {
	case o.Name == "and":
		for _, a := range o.Args {
			if list, ok := wanted(a, property, literal); ok {
				return list, true
			}
		}
	case (o.Name == "=" || o.Name == "in") && len(o.Args) == 2:
		p, is := o.Args[0].(*Property)
		if !is || p.Name != property {
			return nil, false
		}
		items := []Expr{o.Args[1]}
		if a, is := o.Args[1].(*Array); is {
			items = a.Items
		}
		for _, i := range items {
			v, is := literal(i)
			if !is {
				return nil, false
			}
			list = append(list, v)
		}
		return list, true
	}
	return nil, false
}
