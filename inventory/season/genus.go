package season

import "strings"

// commonNames are words of English common names and the genera they stand for:
// lists of trees put common names where the botanical one belongs. Common
// practice, no source.
var commonNames = map[string]string{
	"oak": "quercus", "oaks": "quercus", "elm": "ulmus", "elms": "ulmus", "ash": "fraxinus", "maple": "acer", "sycamore": "platanus acer",
	"birch": "betula", "walnut": "juglans", "pine": "pinus", "spruce": "picea", "fir": "abies", "cherry": "prunus", "plum": "prunus",
	"pear": "pyrus", "apple": "malus", "crabapple": "malus", "linden": "tilia", "basswood": "tilia", "beech": "fagus", "willow": "salix",
	"poplar": "populus", "cottonwood": "populus", "aspen": "populus", "hornbeam": "carpinus", "hackberry": "celtis", "honeylocust": "gleditsia",
	"hawthorn": "crataegus", "hickory": "carya", "pecan": "carya", "alder": "alnus", "magnolia": "magnolia", "ginkgo": "ginkgo",
}

// noName are words in the place of a genus that say that none is recorded. A word
// such as deciduous leaves every genus of that kind open.
var noName = map[string]bool{
	"unknown": true, "unk": true, "unidentified": true, "undetermined": true, "unspecified": true, "none": true, "null": true, "nil": true,
	"n/a": true, "na": true, "nan": true, "tbd": true, "sp": true, "spp": true, "species": true, "not": true, "no": true, "tree": true, "trees": true,
	"other": true, "various": true, "mixed": true, "misc": true, "miscellaneous": true, "deciduous": true, "broadleaf": true, "broadleaved": true,
	"broad-leaved": true, "hardwood": true, "evergreen": true, "native": true, "ornamental": true, "large": true, "medium": true, "small": true,
	"street": true, "stump": true, "vacant": true,
}

// Genera returns the genera that a recorded species can be of, in lower case:
// the genus of a botanical name, and what the words of a common name stand for.
// It is empty where the record names none. A common name of several meanings
// (Silky Oak, mountain ash) counts as each: windows then apply too often rather
// than too seldom.
func Genera(species string) []string {
	if i := strings.IndexAny(species, "'\"‘’“”`(["); i > 0 {
		species = species[:i] // a cultivar, or a name in another language
	}
	words := strings.FieldsFunc(strings.ToLower(species), func(r rune) bool {
		return strings.ContainsRune(" \t\r\n\u00a0_,;:×()[]'\"‘’“”`?*", r)
	})
	var out []string
	first := true
	for _, w := range words {
		w = strings.Trim(w, ".-")
		switch w {
		case "", "x", "cf", "aff", "genus", "hybrid":
			continue
		}
		if genera := commonNames[w]; genera != "" {
			for _, g := range strings.Fields(genera) {
				out = add(out, g)
			}
		} else if first && !noName[w] && isWord(w) {
			out = add(out, w)
		}
		first = false
	}
	return out
}

// isWord reports whether a word can be a genus: two letters or more, and nothing
// but letters and hyphens. A letter alone is the abbreviation of a genus, which
// can be any.
func isWord(w string) bool {
	letters := 0
	for _, r := range w {
		if r == '-' {
			continue
		}
		if r < 'a' || r > 'z' && r < 0xc0 {
			return false
		}
		letters++
	}
	return letters > 1
}

// misspelled reports whether a word is another by one slip: a letter that is
// wrong, lacks or is too much, or two that changed places. Short names are left
// alone: too many are that close. METHOD section 9 asks that a wrong name never
// be put right in silence, and warns of the wrong window.
func misspelled(word, name string) bool {
	a, b := []rune(word), []rune(name)
	if len(b) < 5 || len(a)-len(b) > 1 || len(b)-len(a) > 1 {
		return false
	}
	for len(a) > 0 && len(b) > 0 && a[0] == b[0] {
		a, b = a[1:], b[1:]
	}
	for len(a) > 0 && len(b) > 0 && a[len(a)-1] == b[len(b)-1] {
		a, b = a[:len(a)-1], b[:len(b)-1]
	}
	if len(a) == 2 && len(b) == 2 {
		return a[0] == b[1] && a[1] == b[0]
	}
	return len(a) <= 1 && len(b) <= 1
}

func add(list []string, s string) []string {
	for _, v := range list {
		if v == s {
			return list
		}
	}
	return append(list, s)
}
