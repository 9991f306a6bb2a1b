// Package sound turns what an instrument or a person reads in a boat into a
// depth of water.
//
// The typical run of calls: find the sound speed of the day's water, reduce
// each reading, and bring it to the pond's full level:
//
//	c, err := sound.Speed(unit.Celsius(18.4))
//	d, err := sound.Sounder{Draft: 0.30, SetSpeed: 1500}.Depth(2.85, c)
//	below := sound.BelowFull(full, level, d)
//
// It covers the echo sounder's depth equation, sound speed in fresh water, the
// water level over a day from staff readings, the plate check that replaces
// assumed draft and speed by measured ones, the delay between position and
// sounding, the width of the beam, and the limits of IHO S-44 as a yardstick.
// It does not read instruments, and it knows no coordinates.
//
// Sources: W. Marczak, J. Acoust. Soc. Am. 102, 2776 (1997) for sound speed;
// US Army Corps of Engineers EM 1110-2-1003, Hydrographic Surveying, 2002, for
// the depth equation and checks; IHO S-44, Standards for Hydrographic Surveys,
// edition 6, 2020, for the limits. The pressure of a pond's depth (about
// 0.016 m/s per meter, from memory of the literature on water's sound speed) and its dissolved
// salts change the sound speed too little to matter and are left out.
package sound
