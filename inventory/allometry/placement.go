package allometry

import "strings"

// Where the source has no tree of a genus, the genus is placed in a group by the usual size at maturity of its
// common species in streets and parks: large above about 15 m, medium from about 9 m, small below. Common practice,
// no source.
var genusTypes = placed(map[treeType]string{
	"BDL": "ailanthus castanea ceiba pterocarya salix styphnolobium toona",
	"BDM": "albizia alnus cercidiphyllum cladrastis corylus davidia diospyros erythrina eucommia firmiana halesia idesia " +
		"maclura melia nyssa ostrya oxydendrum parrotia paulownia phellodendron sapindus sassafras sorbus tetradium",
	"BDS": "amelanchier aralia asimina caragana chionanthus cotinus euonymus franklinia hamamelis heptacodium laburnum " +
		"maackia mespilus ptelea punica rhamnus sambucus stewartia styrax syringa tamarix viburnum vitex xanthoceras",
	"BEL": "grevillea notholithocarpus",
	"BEM": "agonis mangifera maytenus persea syzygium umbellularia",
	"BES": "arbutus buxus camellia citrus laurus ligustrum morella myrica nerium osmanthus photinia psidium",
	"CEL": "abies araucaria cryptomeria cunninghamia sequoiadendron tsuga",
	"CEM": "afrocarpus callitropsis chamaecyparis cupressus cupressocyparis hesperocyparis sciadopitys thuja torreya",
	"CES": "cephalotaxus taxus",
	"CDL": "larix metasequoia pseudolarix taxodium",
	// The source's palms, and others that inventories have.
	"P": "butia cocos phoenix sabal syagrus veitchia washingtonia adonidia archontophoenix brahea chamaerops dypsis " +
		"livistona ptychosperma roystonea trachycarpus",
})

// speciesTypes holds species that grow unlike those of their genus that the source has, or keep their leaves where
// those drop them or the reverse. Names are genus, underscore, epithet. Common practice, no source.
var speciesTypes = underscored(placed(map[treeType]string{
	"BDL": "acer_pseudoplatanus magnolia_acuminata prunus_serotina",
	"BDM": "acer_campestre magnolia_macrophylla prunus_avium",
	"BDS": "acer_buergerianum acer_ginnala acer_griseum acer_pensylvanicum acer_tataricum acer_truncatum ficus_carica " +
		"ilex_decidua ilex_verticillata magnolia_denudata magnolia_kobus magnolia_loebneri magnolia_salicifolia " +
		"magnolia_soulangeana magnolia_stellata magnolia_tripetala rhus_copallinum rhus_glabra rhus_typhina",
	"BEL": "quercus_chrysolepis quercus_suber quercus_wislizeni",
}))

func placed(lists map[treeType]string) map[string]treeType {
	out := map[string]treeType{}
	for t, list := range lists {
		for _, n := range strings.Fields(list) {
			out[n] = t
		}
	}
	return out
}

func underscored(types map[string]treeType) map[string]treeType {
	out := make(map[string]treeType, len(types))
	for n, t := range types {
		out[strings.ReplaceAll(n, "_", " ")] = t
	}
	return out
}
