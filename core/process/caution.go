package process

// Caution is a sentence that stands beside a plan. It names a hazard and who to
// ask; it allows nothing.
type Caution struct {
	Code string `json:"code"`
	Text string `json:"text"`
}

// Hazards of the plans.
const (
	HazardCO2      = "co2"
	HazardRoom     = "room"
	HazardEntry    = "entry"
	HazardNitrogen = "nitrogen"
	HazardOxygen   = "oxygen"
	HazardPressure = "pressure"
	HazardVacuum   = "vacuum"
	HazardCaustic  = "caustic"
	HazardGlass    = "glass"
	HazardErupt    = "eruption"
	HazardHome     = "home"
	HazardSulphite = "sulphite"
	HazardAlkali   = "alkali"
)

// cautions in the order they are shown. The quoted limits are those of NIOSH
// and OSHA (IDLH documentation of CO2).
var cautions = []Caution{
	{HazardCO2, "CO2 is poisonous by itself and gathers low down. Quoted US limits: 5,000 ppm over a shift (OSHA PEL, NIOSH REL), 30,000 ppm for 15 min (NIOSH), 40,000 ppm IDLH. Your local limits govern. Vent outdoors; an oxygen meter is no CO2 alarm."},
	{HazardRoom, "The room figure is an average as if all gas stayed and mixed. Gas lies in layers: near the floor and the vent it is far higher. It is no ground to be in the room."},
	{HazardEntry, "A purged vessel is a confined space: never lean in, never enter without your site's permit, test, attendant and rescue plan."},
	{HazardNitrogen, "Nitrogen gives no warning before it takes the oxygen from the air. Vent outdoors and have an oxygen alarm."},
	{HazardOxygen, "Pure oxygen makes clothing, oil and grease burn fiercely, above 23.5 % in air already. Oxygen-clean fittings, no grease, valves opened slowly, no smoking; never purge or pressurise with it."},
	{HazardPressure, "Stay within the rating on the vessel's plate, with its relief valve fitted, tested and open to work. What a vessel or valve may bear is for its maker and a licensed engineer."},
	{HazardVacuum, "Most beer tanks are not built for vacuum and collapse. Only a vessel rated for it, as its plate says."},
	{HazardCaustic, "Caustic takes up CO2 in seconds and a closed tank collapses: no caustic into a vessel with CO2. Vent it fully first, with the vacuum valve open to work, by your site's procedure."},
	{HazardGlass, "Glass and cans burst. Stay within the maker's rating, measure that fermentation has ended, keep shields and eyes covered; a bulged package is handled cold and not pierced warm."},
	{HazardErupt, "Hops, sugar or fruit in beer that holds CO2 can make it erupt: open at zero gauge only, stand aside, dose slowly, eyes covered."},
	{HazardHome, "Purge in moving air, never in a closed cupboard or car; chain cylinders upright; ordinary jars, growlers and plastic fermenters are no pressure vessels."},
	{HazardAlkali, "Caustic burns skin and eyes, and a package under pressure can throw it: goggles and gloves, water at hand, the burette vented by its procedure; waste by your site's rules."},
	{HazardSulphite, "Sulphite can trigger asthma: dose little, and label it."},
}

// Standing goes with every plan.
const Standing = "General information for trained people. It does not replace your site's risk assessment, the makers' instructions, local codes and regulations, or a licensed engineer, gas supplier or safety professional. Where they differ, they win."

// Cautions are the sentences of these hazards, in one order, each once.
func Cautions(hazards ...string) []Caution {
	var list []Caution
	for _, c := range cautions {
		for _, h := range hazards {
			if c.Code == h {
				list = append(list, c)
				break
			}
		}
	}
	return append(list, Caution{"standing", Standing})
}
