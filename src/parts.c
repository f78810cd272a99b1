/* Rows of the register; see parts.h.
 *
 *   recovery   -A ln(1 + theta), logarithmic (Kuhlmann 1948; form in Humphreys and Hatherly,
 *              Recrystallization and Related Annealing Phenomena)
 *   hardening  +B (1 - exp(-theta)): hardening of cold-worked alpha brass by annealing below
 *              recrystallisation, ascribed to short-range order and solute at dislocations; own
 *              choice of first-order kinetics
 *   growth     -F (1 - (1 + theta)^(-1/(2 m))): Hall-Petch, H = H_i + k d^(-1/2), of grains that
 *              grow as d^m = d_0^m + integral of K_g dt (Burke and Turnbull 1952), with
 *              F = H_soft - H_i and theta = integral of K_g / d_0^m dt from the start of the anneal
 *
 * Shapes of recrystallisation: Johnson, Mehl, Avrami, Kolmogorov (see kinetics.c); Austin J B,
 * Rickett R L (1939) Trans. AIME 135, 396 (value from memory). */
#include "parts.h"

/* ln(1 + exp(v)) and its derivative without overflow. */
static double soft_log(double v, double *slope)
{
    if (v > 0.0) {
        double z = exp(-v);
        *slope = 1.0 / (1.0 + z);
        return v + log1p(z);
    }
    double z = exp(v);
    *slope = z / (1.0 + z);
    return log1p(z);
}

/* 1 - exp(-theta) at ln theta = v, and its derivative theta exp(-theta). */
static double saturation(double v, double *slope)
{
    double theta = exp(v);
    *slope = theta > 745.0 ? 0.0 : theta * exp(-theta);
    return -expm1(-theta);
}

/* 1 - (1 + exp(v))^power, and its derivative in v. */
static double coarsening(double v, double power, double *slope)
{
    double logistic, log_growth = soft_log(v, &logistic);
    *slope = -power * logistic * exp(power * log_growth);
    return -expm1(power * log_growth);
}

double sa_process_value(int process, double v, double power, double *slope)
{
    if (process == SA_RECOVERY)
        return soft_log(v, slope);
    return process == SA_HARDENING ? saturation(v, slope) : coarsening(v, power, slope);
}

#define OF_LEVEL {0.25, 0.0, 0.0, 0.01, 1e-3, 0.0}
#define OF_AMPLITUDE {0.0, 0.5, 0.0, 0.01, 1e-3, 0.0}
#define OF_RATE {0.0, 0.0, 1.0, 0.0, 0.0, 0.05}
#define OF_ENERGY {0.0, 0.35, 0.0, 0.0, 0.0, 2.0}
#define OF_POWER {0.0, 0.5, 0.0, 0.0, 0.0, 0.02}
#define OF_STRAIN {0.0, 0.5, 0.5, 0.0, 0.0, 0.05}

/* name, role, trades, natural, rule, low, high, start, yardstick */
#define RATE(name, process)                                                                        \
    {name, SA_LN_RATE, process, 0, SA_BY_TIMES, -40.0, 40.0, 0.0, OF_RATE}
#define ENERGY(name, process, start)                                                               \
    {name, SA_ENERGY, process, 1, SA_BY_TABLE, 0.0, 2000.0, start, OF_ENERGY}
#define AMPLITUDE(name, process, rule, high)                                                       \
    {name, SA_AMPLITUDE, process, 1, rule, 0.0, high, 0.0, OF_AMPLITUDE}

const sa_term sa_terms[SA_TERMS] = {
    [SA_P_WORKED] = {"h_worked", SA_LEVEL, SA_NO_PROCESS, 0, SA_BY_TOP, 0.0, 1.0, 0.0, OF_LEVEL},
    [SA_P_SOFT] = {"h_soft", SA_LEVEL, SA_NO_PROCESS, 0, SA_BY_TOP, 0.0, 1.0, 0.0, OF_LEVEL},
    [SA_P_LN_K] = RATE("ln_k_ref", SA_RECRYSTALLISATION),
    [SA_P_N] = {"n", SA_EXPONENT, SA_NO_PROCESS, 1, SA_BY_TABLE, 0.1, 10.0, 1.5, OF_POWER},
    [SA_P_Q] = ENERGY("q_kj_mol", SA_RECRYSTALLISATION, 200.0),
    [SA_T_K_STRAIN] = {"k_strain", SA_STRAIN, SA_RECRYSTALLISATION, 0, SA_BY_TABLE, -20.0, 20.0, 1.0,
                       OF_STRAIN},
    [SA_T_H_STRAIN] = {"h_strain", SA_STRAIN, SA_NO_PROCESS, 1, SA_BY_TABLE, 0.0, 5.0, 0.0,
                       OF_POWER},
    [SA_T_SOFT_STRAIN] = {"h_soft_strain", SA_STRAIN, SA_NO_PROCESS, 0, SA_BY_TABLE, -5.0, 5.0, 0.0,
                          OF_STRAIN},
    [SA_T_THETA0] = {"theta0", SA_DELAY, SA_NO_PROCESS, 1, SA_BY_TABLE, 0.0, 50.0, 0.0, OF_POWER},
    [SA_T_RECOVERY] = AMPLITUDE("dh_rec", SA_RECOVERY, SA_BY_TOP, 1e6),
    [SA_T_RECOVERY + 1] = RATE("ln_k_rec", SA_RECOVERY),
    [SA_T_RECOVERY + 2] = ENERGY("q_rec_kj_mol", SA_RECOVERY, 200.0),
    [SA_T_HARDENING] = AMPLITUDE("dh_hard", SA_HARDENING, SA_BY_TOP, 1.0),
    [SA_T_HARDENING + 1] = RATE("ln_k_hard", SA_HARDENING),
    [SA_T_HARDENING + 2] = ENERGY("q_hard_kj_mol", SA_HARDENING, 100.0),
    [SA_T_GROWTH] = AMPLITUDE("dh_grow", SA_GROWTH, SA_BY_SOFTEST, 1.0),
    [SA_T_GROWTH + 1] = RATE("ln_k_grow", SA_GROWTH),
    [SA_T_GROWTH + 2] = ENERGY("q_grow_kj_mol", SA_GROWTH, 200.0)};

/* Energies: recovery is near that of recrystallisation, hardening below. Growth is seen late: slow
 * against the clock of the readings, or as fast. */
const sa_process sa_processes[SA_PROCESSES] = {
    [SA_RECRYSTALLISATION] = {.name = "recrystallisation", .terms = SA_P_WORKED},
    [SA_RECOVERY] = {"recovery", SA_T_RECOVERY, 0, -1.0,
                     {3, 3, {-2.0, 0.5, 3.0}, {0.6, 1.0, 1.4}}},
    [SA_HARDENING] = {"hardening", SA_T_HARDENING, 0, 1.0,
                      {4, 3, {-1.5, 0.5, 2.5, 5.0}, {0.3, 0.6, 1.0}}},
    [SA_GROWTH] = {"growth", SA_T_GROWTH, 1, -1.0,
                   {4, 3, {-3.0, -1.0, 1.0, 3.0}, {0.7, 1.0, 1.5}}}};

#define RECOVERY (1u << SA_RECOVERY)
#define HARDENING (1u << SA_HARDENING)

const sa_model_part sa_models[SA_MODELS] = {
    [SA_JMAK] = {"jmak", "recrystallisation", SA_SHAPE_JMAK, 0, 0, 1},
    [SA_JMAK_INCUBATION] = {"jmak_incubation", "recrystallisation after incubation", SA_SHAPE_JMAK,
                            0, 1, 1},
    [SA_RECOVERY_JMAK] = {"recovery_jmak", "recovery and recrystallisation", SA_SHAPE_JMAK,
                          RECOVERY, 0, 1},
    [SA_RECOVERY_JMAK_INCUBATION] = {"recovery_jmak_incubation",
                                     "recovery, and recrystallisation after incubation",
                                     SA_SHAPE_JMAK, RECOVERY, 1, 1},
    [SA_HARDENING_JMAK] = {"hardening_jmak", "hardening at low temperature, then recrystallisation",
                           SA_SHAPE_JMAK, HARDENING, 0, 0},
    [SA_HARDENING_RECOVERY_JMAK] = {"hardening_recovery_jmak",
                                    "hardening, recovery and recrystallisation", SA_SHAPE_JMAK,
                                    HARDENING | RECOVERY, 0, 0},
    [SA_AUSTIN_RICKETT] = {"austin_rickett", "recrystallisation with a slow end", SA_SHAPE_RICKETT,
                           0, 0, 0}};

const char sa_shape_lines[SA_SHAPES][24] = {[SA_SHAPE_JMAK] = "ln(-ln(1 - X))",
                                           [SA_SHAPE_RICKETT] = "ln(X/(1 - X))"};

double sa_shape_fraction(sa_shape shape, double y)
{
    if (shape == SA_SHAPE_RICKETT)
        return isinf(y) ? 1.0 : y / (1.0 + y);
    return -expm1(-y);
}

double sa_shape_inverse(sa_shape shape, double share)
{
    return shape == SA_SHAPE_RICKETT ? (1.0 - share) / share : -log(share);
}

double sa_shape_line(sa_shape shape, double fraction)
{
    return shape == SA_SHAPE_RICKETT ? log(fraction) - log1p(-fraction) : log(-log1p(-fraction));
}

double sa_shape_reach(sa_shape shape, double n)
{
    return shape == SA_SHAPE_RICKETT ? fmax(12.0, 40.0 / n) : 12.0; /* until exp(-40) is left */
}
