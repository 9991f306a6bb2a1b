// Package mast judges the pole that carries solar panels over a pond's shore:
// wind load, footing, pole and uplift.
//
// A Design goes in, a Report comes out, and the Report always carries the wind
// it was made for and a Verdict: Enough, NotEnough or Unverified. No function
// hands out a footing depth on its own.
//
//	r, err := mast.Size(design)  // depth found, then judged
//	r, err := mast.Judge(design) // the depth given, judged
//	switch v := r.Verdict.(type) { … }
//
// What a Design leaves out is filled from Settings on the safe side and listed
// in Report.Assumed; a design that passes only with such defaults is
// Unverified, never Enough.
//
// Wind follows ASCE 7 (2005 to 2022 editions), net pressure coefficients are
// those of a monoslope free roof, figure 27.3-4 of ASCE 7-22, as carried by the
// Bangladesh National Building Code, figure 6.2.18(a), and by public code that
// transcribes the figure. The footing follows the International Building Code
// 1807.3.2.1 and 1807.3.2.2 (read as adopted in 780 CMR, Massachusetts, 2024),
// soil values its table 1806.2. Pole strength follows AISC 360.
//
// The package is a sizing aid only. Mast, footing and wind load must be
// confirmed by a licensed engineer and the local building authority where they
// ask for it, electrical work by a licensed electrician, and the utility-locate
// service must be called before digging: see Cautions on every Report.
package mast
