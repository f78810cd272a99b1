/* Registration of the native entry points. Each glue header lists its own rows. */
#include "glue_batch.h"
#include "glue_components.h"
#include "glue_fit.h"
#include "glue_hash.h"
#include "glue_heat.h"
#include "glue_kinetics.h"
#include "glue_parts.h"
#include "glue_plan.h"
#include "glue_posterior.h"
#include "glue_scale.h"
#include "glue_threads.h"
#include <R_ext/Visibility.h>

static const R_CallMethodDef call_entries[] = {
    GLUE_BATCH_CALLS GLUE_COMPONENTS_CALLS GLUE_THREADS_CALLS
    GLUE_FIT_CALLS GLUE_HASH_CALLS GLUE_HEAT_CALLS GLUE_KINETICS_CALLS GLUE_PARTS_CALLS
    GLUE_PLAN_CALLS GLUE_POSTERIOR_CALLS GLUE_SCALE_CALLS
    {NULL, NULL, 0}};

void attribute_visible R_init_softanneal(DllInfo *dll)
{
    R_registerRoutines(dll, NULL, call_entries, NULL, NULL);
    R_useDynamicSymbols(dll, FALSE);
    R_forceSymbols(dll, TRUE);
}
