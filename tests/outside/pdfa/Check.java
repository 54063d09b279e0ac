// Validates PDFs with veraPDF's library.
//
// Usage: java -cp ... Check.java FLAVOUR FILE...   where FLAVOUR is 2a, ua1 and so on.
// Prints a line for each file, and what it breaks. Exit code 0 only if all hold.

import java.io.FileInputStream;
import java.util.Map;
import java.util.TreeMap;
import org.verapdf.gf.foundry.VeraGreenfieldFoundryProvider;
import org.verapdf.pdfa.Foundries;
import org.verapdf.pdfa.PDFAParser;
import org.verapdf.pdfa.PDFAValidator;
import org.verapdf.pdfa.flavours.PDFAFlavour;
import org.verapdf.pdfa.results.TestAssertion;
import org.verapdf.pdfa.results.ValidationResult;

public class Check {
    public static void main(String[] args) throws Exception {
        VeraGreenfieldFoundryProvider.initialise();
        PDFAFlavour flavour = PDFAFlavour.byFlavourId(args[0]);
        boolean all = true;
        for (int n = 1; n < args.length; n++) {
            try (FileInputStream file = new FileInputStream(args[n]);
                    PDFAParser parser = Foundries.defaultInstance().createParser(file, flavour);
                    PDFAValidator validator =
                            Foundries.defaultInstance().createValidator(flavour, false)) {
                ValidationResult result = validator.validate(parser);
                System.out.println(
                        (result.isCompliant() ? "ok     " : "FAILED ")
                                + flavour + " " + args[n]
                                + " (" + result.getTotalAssertions() + " checks)");
                all &= result.isCompliant();
                Map<String, Integer> broken = new TreeMap<>();
                for (TestAssertion one : result.getTestAssertions()) {
                    if (one.getStatus() == TestAssertion.Status.FAILED) {
                        String rule = one.getRuleId().getClause() + "-"
                                + one.getRuleId().getTestNumber() + ": " + one.getMessage();
                        broken.merge(rule, 1, Integer::sum);
                    }
                }
                broken.forEach((rule, times) -> System.out.println("  " + times + " x " + rule));
            }
        }
        System.exit(all ? 0 : 1);
    }
}
