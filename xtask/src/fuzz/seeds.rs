//! Small sound files to damage; all values are invented.

use super::claims::Target;

/// The files of one kind.
pub(super) fn of(target: Target) -> &'static [&'static str] {
    match target {
        Target::Table => TABLES,
        Target::Jcamp => JCAMP,
        Target::Cgats => CGATS,
    }
}

const TABLES: &[&str] = &[
    "wavelength_nm,transmittance\n700,0.24\n710,0.5\n750,0.9\n",
    "Wavelength (nm);Transmittance(%);Std.Dev.\n700;24,5;0,1\n710;30,25;0,1\n750;90;0,2\n",
    "# Reflectance (0..1) of a leaf\n#wl,R,T\n400,0.05,0.01\n401,-9.999,0.01\n402,0.06,\n403,0.07,0.02\n",
    "490  0.000  \r\n500  0.011  \r\n510  0.128  \r\n",
    "Name: Leaves\nX Units:  Wavelength (micrometers)\nY Units:  Reflectance (percent)\n\n0.302\t4.948\t \n0.304\t4.961\t\t\n0.306\t4.973\n",
    "1/cm\tabsorbance\n14000\t0.1\n13000\t1.5\n12000\t3\n",
    "nm,log sensitivity\n680,1.3\n670,1.4\n660,1.45\n660,1.45\n",
];

const JCAMP: &[&str] = &[
    "##TITLE= a\n##JCAMP-DX= 4.24 $$ remark\n##DATA TYPE= UV/VIS SPECTRUM\n##XUNITS= NANOMETERS\n##YUNITS= TRANSMITTANCE\n##FIRSTX= 680\n##LASTX= 790\n##DELTAX= 10\n##XFACTOR= 1\n##YFACTOR= 0.001\n##NPOINTS= 12\n##FIRSTY= 0.001\n##XYDATA= (X++(Y..Y))\n680 1 15 90 280\n720 520 700 830 905\n760+945+965+975+980\n##END=\n",
    "##TITLE= b log10\r##XUNITS= nm\r##YUNITS= ARBITRARY UNITS\r##NPOINTS= 4\r##XYPOINTS= (XY..XY)\r400,1.10; 450,1.20; 500,?\r740,-1.20\r##END=\r",
    "##TITLE= c\n##XUNITS= 1/CM\n##YUNITS= ABSORBANCE\n##FIRSTX= 14000\n##LASTX= 12400\n##NPOINTS= 9\n##YFACTOR= 0.1\n##XYDATA= (X++(Y..Y))\n14000A0JJT%j\n13000A2KU\n##END=\n",
    "##TITLE= all\n##DATA TYPE= LINK\n##BLOCKS= 2\n##TITLE= one\n##XUNITS= nm\n##YUNITS= A\n##FIRSTX= 700\n##LASTX= 690\n##NPOINTS= 3\n##XYDATA= (X++(Y..Y))\n700ABC\n##END=\n##TITLE= two\n##XUNITS= nm\n##YUNITS= %T\n##FIRSTX= 400\n##LASTX= 402\n##NPOINTS= 3\n##XYDATA= (X++(Y..Y))\n400 10\n401 20 30\n##END=\n##END=\n",
];

const CGATS: &[&str] = &[
    "CGATS.17\nORIGINATOR\t\"a \"\"b\"\"\"\nFILE_DESCRIPTOR\t\"steps\"\nKEYWORD\t\"LOG_H\"\nNUMBER_OF_FIELDS\t4\nBEGIN_DATA_FORMAT\nSAMPLE_ID\tSAMPLE_NAME\tLOG_H\tD_VIS\nEND_DATA_FORMAT\nNUMBER_OF_SETS\t2\nBEGIN_DATA\n1\t\"step 21\"\t-2.40\t0.25\n2\t\"step 18\"\t-1.95\t-0.01\nEND_DATA\n",
    "CGATS.17\nBEGIN_DATA_FORMAT\nSAMPLE_ID SPECTRAL_PCT_700 SPECTRAL_PCT_710 SPECTRAL_PCT_720\nEND_DATA_FORMAT\nBEGIN_DATA\ng1 24 50 90\ng2 1 2 3\nEND_DATA\n",
    "CGATS.17\nBEGIN_DATA_FORMAT\nSPECTRAL_NM SPECTRAL_DEC\nEND_DATA_FORMAT\nBEGIN_DATA\n700 0.24\n710 0.5\nEND_DATA\n",
    "CGATS.5\nBEGIN_DATA_FORMAT\nSAMPLE_ID SPECTRAL_NM SPECTRAL_DEC SPECTRAL_NM SPECTRAL_DEC\nEND_DATA_FORMAT\nBEGIN_DATA\ng1 700 0.24 710 0.5\nEND_DATA\nBEGIN_DATA\ng2 700 0.3 710 0.6\nEND_DATA\n",
];
