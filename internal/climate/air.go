package climate

// EMC is the equilibrium moisture content of wood, %, in air of a temperature,
// °C, and a relative humidity, 0 <= h <= 1:
//
//	M = 1800/W [K h/(1 - K h) + (K1 K h + 2 K1 K2 K² h²)/(1 + K1 K h + K1 K2 K² h²)]
//	W  = 349 + 1.29 T + 0.0135 T²          K  = 0.805 + 0.000736 T - 0.00000273 T²
//	K1 = 6.27 - 0.00938 T - 0.000303 T²    K2 = 1.91 + 0.0407 T - 0.000293 T²
//
// Reference: USDA Wood Handbook (FPL-GTR-282, 2021), eq. 4-5.
func EMC(celsius, humidity float64) float64 {
	t := celsius
	w := 349 + 1.29*t + 0.0135*t*t
	k := 0.805 + 0.000736*t - 0.00000273*t*t
	k1 := 6.27 - 0.00938*t - 0.000303*t*t
	k2 := 1.91 + 0.0407*t - 0.000293*t*t
	a := k * humidity
	return 1800 / w * (a/(1-a) + (k1*a+2*k1*k2*a*a)/(1+k1*a+k1*k2*a*a))
}

// Humidity is the relative humidity, 0..1, at which wood comes to a moisture
// content, %, at a temperature: the inverse of EMC, held to 0..1.
func Humidity(celsius, emc float64) float64 {
	lo, hi := 0.0, 1.0
	for range 50 {
		if mid := (lo + hi) / 2; EMC(celsius, mid) < emc {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}
