package pruning

import "testing"

// What orders topping or heading in plain words, and what only speaks of it. The
// words are common practice, no source.
func TestOrdered(t *testing.T) {
	for _, text := range []string{
		"Top the tree.", "top it at 6 m", "Top all leaders", "The owner wants it topped", "Topping to 8 m", "to be topped at 7 m",
		"Head back all limbs.", "head the leaders back", "make heading cuts at the fence line", "heading back to the old points",
		"Pollard it.", "Pollarding at 3 m", "lop the ends", "Lopping of the street side", "Reduce by 30 % all over", "reduce the crown by 30%", "Reduce the whole tree by a third",
		"Crown reduction of 30 % all round", "Cut the tree down to 6 m", "cut back everything to 5 metres", "Bring the crown down to 8 m", "lower the height by 3 m", "shorten all over by a third",
		"Take the top out", "cut off the top", "remove its top", "Do not wait: top it now", "Don't hesitate to top the tree", "Not only top the oak but pollard the lime",
		"No flush cuts. Top the tree.", "Do not leave it as it is, top it", "Repeat the old topping", "do the topping of 2015 again",
		"Kappen auf 6 m", "Étêter l'arbre", "desmochar", "capitozzatura", "Toppen op 5 m", "hat-rack it", "Dehorn the maple", "round it over", "Topped at 6 m please", "30% crown reduction", "crown reduction 30 %", "reduce the crown 30 %", "keep the crown at 6 m",
	} {
		if len(ordered(text)) == 0 {
			t.Errorf("%q orders a cut that is never specified, and is let through", text)
		}
	}
	for _, text := range []string{
		"", "No topping.", "no topping, heading or pollarding", "Never top the tree", "Do not top, head or lop it", "without topping", "No flush cuts, topping or stubs.", "Topping is not allowed",
		"Topping of any kind must never be done", "Bring the topped or headed crown back, in small steps, to branches that lead and hold; keep it safe meanwhile.",
		"Restore the crown after the topping of 2015", "3 topping cuts of 2015, 20 cm across: keep 3 shoots", "Look at the old topping cuts", "Keep the top of the crown", "dead wood in the top",
		"Reduce the limb to a lateral of a third to a half, about 25 % off its length.", "Keep one leader: shorten the stems that compete with it, to a lateral of a third or more.",
		"take the hung branch over the gate out", "ring first", "Keep the school's oak.", "Work from the top down to the lift", "Cut 2 m clear of the lamp", "the head gardener is to be asked", "Kein Kappen", "Pas d'étêtage", "The tree was topped at 6 m", "topped at 6 m in 2015", "Reduce the crown by 2 m over the road, to laterals", "stop at the stopping place",
	} {
		if found := ordered(text); len(found) > 0 {
			t.Errorf("%q is refused for %q", text, found)
		}
	}
}
