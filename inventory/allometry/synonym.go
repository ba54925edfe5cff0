package allometry

// genusSynonyms maps genera as inventories spell them to the source's, in lower case: names of newer treatments and
// common misspellings. Common practice, no source.
var genusSynonyms = map[string]string{
	"cercidium": "parkinsonia", "corymbia": "eucalyptus", "ginko": "ginkgo", "gleditzia": "gleditsia",
	"gingko": "ginkgo", "handroanthus": "tabebuia", "liquidamber": "liquidambar", "planatus": "platanus", "senegalia": "acacia",
	"styphnoloblum": "styphnolobium", "vachellia": "acacia",
}

// synonyms maps species as inventories name them to the source's name, both without hybrid sign and rank, after
// genusSynonyms. Common practice, no source.
var synonyms = map[string]string{
	"albizia saman":                "samanea saman",
	"biota orientalis":             "platycladus orientalis",
	"brachychiton populneum":       "brachychiton populneus",
	"camphora officinarum":         "cinnamomum camphora",
	"carya illinoensis":            "carya illinoinensis",
	"cassine orientalis":           "elaeodendron orientale",
	"crataegus lavallei":           "crataegus lavalleei",
	"fraxinus oxycarpa":            "fraxinus angustifolia",
	"juniperus silicicola":         "juniperus virginiana silicicola",
	"libocedrus decurrens":         "calocedrus decurrens",
	"lophostemon confertus":        "tristaniopsis conferta",
	"melaleuca citrina":            "callistemon citrinus",
	"pinus brutia eldarica":        "pinus eldarica",
	"pinus thunbergii":             "pinus thunbergiana",
	"platanus hispanica":           "platanus acerifolia",
	"platanus hybrida":             "platanus acerifolia",
	"populus deltoides monilifera": "populus sargentii",
	"populus trichocarpa":          "populus balsamifera trichocarpa",
	"sapium sebiferum":             "triadica sebifera",
	"schinus terebinthifolia":      "schinus terebinthifolius",
	"searsia lancea":               "rhus lancea",
	"sophora japonica":             "styphnolobium japonicum",
	"tabebuia caraiba":             "tabebuia aurea",
	"tabebuia ochracea":            "tabebuia ochracea neochrysantha",
	"thuja orientalis":             "platycladus orientalis",
	"tristania conferta":           "tristaniopsis conferta",
}
